"use strict";

/**
 * @typedef {{id: string, name: string, model: object}} Part
 * @typedef {{text: string, right: boolean, why: string}} Choice
 * @typedef {{part: string, board: string}} Check
 * @typedef {{name: string, title: string, part: string, beside: string|null, belief: string, board: string, program: string,
 *   went: string, task: string, task_board: string, ask: string, choices: Choice[], checks: Check[],
 *   goal: {reads: string, either: string[], tolerates: string[], cycles: number}, may_set: string[]}} Lesson
 * @typedef {{texts: Record<string, string>, parts: Part[], lessons: Lesson[], words: string[],
 *   opening: {program: string, part: string, beside: string|null, step: number}}} Data
 * @typedef {{line: number, column: number, len: number}} Place
 * @typedef {Record<string, any>} Answer
 */

/** When the script began, for who measures it. */
const began = performance.now();

/**
 * The element of this id.
 * @param {string} id
 * @returns {any}
 */
const by = (id) => document.getElementById(id);

/** @type {Data} */
const data = JSON.parse(by("data").textContent);

/**
 * The text of this key, with what stands in braces filled in.
 * @param {string} key
 * @param {Record<string, any>} [values]
 */
function say(key, values = {}) {
  const text = data.texts[key] ?? key;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

/**
 * An element; texts in it are texts, whatever stands in them.
 * @param {string} tag @param {Record<string, any>} [attributes] @param {...(Node|string|number|null|undefined)} children
 */
function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, String(value));
  }
  for (const child of children) if (child !== null && child !== undefined) made.append(child instanceof Node ? child : String(child));
  return made;
}

/**
 * @param {number} value
 * @param {number} digits
 */
const hex = (value, digits) => value.toString(16).toUpperCase().padStart(digits, "0");
/** @param {number} offset */
const at = (offset) => `0x${hex(offset, 4)}`;

/** The simulator. */
const engine = {
  /** @type {any} */
  exports: null,

  async load() {
    const text = atob(by("wasm").textContent);
    // A loop: `Uint8Array.from` takes ten times as long, and the first step waits for it.
    const bytes = new Uint8Array(text.length);
    for (let at = 0; at < text.length; at += 1) bytes[at] = text.charCodeAt(at);
    const { instance } = await WebAssembly.instantiate(bytes, {});
    this.exports = instance.exports;
  },

  /**
   * Asks a question and returns its answer.
   * @param {object} question
   * @returns {Answer}
   */
  ask(question) {
    const { memory, reserve, ask, answer } = this.exports;
    const bytes = new TextEncoder().encode(JSON.stringify(question));
    try {
      const place = reserve(bytes.length);
      new Uint8Array(memory.buffer, place, bytes.length).set(bytes);
      const length = ask();
      return JSON.parse(new TextDecoder().decode(new Uint8Array(memory.buffer, answer(), length)));
    } catch (error) {
      by("alarm").textContent = say("broken", { reason: error instanceof Error ? error.message : "" });
      by("alarm").hidden = false;
      return { error: "broken" };
    }
  },
};
