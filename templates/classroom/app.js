/** Longest link that can be handed in, in characters. */
const LONGEST_LINK = 2000;
/** Longest text of a program. */
const LONGEST_PROGRAM = 60000;

/** What is played, and where. */
const app = {
  lesson: -1,
  /**
   * ask: before the answer; fail: the failing program; task: the student\'s.
   * @type {"free"|"ask"|"fail"|"task"}
   */
  mode: "free",
  part: "",
  beside: "",
  who: "",
  program: "",
  answer: -1,
  step: 0,
  steps: 0,
  /** @type {Answer[]} */ lanes: [],
  /** @type {number|null} */ difference: null,
  /** @type {any} */ timer: null,

  /** @param {string} id */
  model: (id) => (data.parts.find((part) => part.id === id) ?? data.parts[0]).model,

  task() {
    const lesson = data.lessons[this.lesson];
    if (!lesson) return { program: this.program };
    const board = this.mode === "task" ? lesson.task_board : lesson.board;
    return { board, program: this.program, who: this.who, may_set: lesson.may_set };
  },

  /**
   * Plays the program anew.
   * @param {number} [step]
   */
  open(step = 0) {
    this.pause();
    by("faults").replaceChildren();
    this.program = by("program").value.slice(0, LONGEST_PROGRAM);
    const models = [this.model(this.part)].concat(this.beside ? [this.model(this.beside)] : []);
    const opened = engine.ask({ do: "open", models, task: this.task() });
    if (opened.lanes) {
      [this.steps, this.difference, this.lanes] = [opened.steps, opened.difference, opened.lanes];
    } else {
      [this.steps, this.difference, this.lanes] = [0, null, []];
      this.tell(opened);
    }
    by("slide").max = String(this.steps);
    this.go(step);
  },

  /**
   * Says what is wrong with a program.
   * @param {Answer} answer
   */
  tell(answer) {
    const faults = answer.faults ?? [];
    const items = faults.map((/** @type {Answer} */ fault) => {
      const { line, column } = fault.place;
      return element("li", {}, say(`fault_${fault.part}`, { line, column, reason: fault.reason, remedy: fault.remedy }));
    });
    by("faults").replaceChildren(element("p", { class: "bad" }, say("faults")), element("ul", { class: "bad" }, ...items, answer.error ? element("li", {}, answer.error) : null));
  },

  /**
   * Shows everything after so many steps.
   * @param {number} step
   */
  go(step) {
    this.step = Math.max(0, Math.min(this.steps, step));
    by("where").textContent = say("step_of", { step: this.step, steps: this.steps });
    by("slide").value = String(this.step);
    for (const id of ["first", "back"]) by(id).disabled = this.step === 0;
    for (const id of ["next", "event", "last"]) by(id).disabled = this.step === this.steps;
    const shown = this.lanes.length ? engine.ask({ do: "show", step: this.step }).lanes ?? [] : [];
    const over = this.step === this.steps;
    view.program(this.program, shown.length ? shown[0].place : null);
    by("buses").replaceChildren(...shown.map((/** @type {Answer} */ lane) => view.bus(lane, by("bits").checked)));
    by("chips").replaceChildren(...shown.map((/** @type {Answer} */ lane) => view.chip(lane, over)));
    const long = over && this.lanes.some((lane) => lane.end === "too-long");
    if (long) by("buses").prepend(element("p", { class: "bad" }, say("too_long", { steps: this.steps })));
    this.showDifference();
    if (over) this.pause();
  },

  showDifference() {
    const place = by("difference");
    place.replaceChildren();
    if (this.lanes.length < 2) return;
    const step = this.difference;
    place.append(element("span", {}, step === null ? say("no_difference") : say("difference", { step })));
    if (step !== null) place.append(element("button", { type: "button", id: "differs", onclick: () => this.go(step) }, say("go_there")));
  },

  nextEvent() {
    const all = this.lanes.flatMap((lane) => lane.events).filter((step) => step > this.step);
    this.go(all.length ? Math.min(...all) : this.steps);
  },

  pause() {
    clearInterval(this.timer);
    this.timer = null;
    by("run").textContent = say("run");
    by("run").setAttribute("aria-pressed", "false");
  },

  run() {
    if (this.timer !== null) return this.pause();
    if (this.step === this.steps) this.go(0);
    by("run").textContent = say("pause");
    by("run").setAttribute("aria-pressed", "true");
    this.timer = setInterval(() => this.go(this.step + 1), 1000 / Number(by("speed").value));
  },

  /** What is handed in. */
  place() {
    const lesson = data.lessons[this.lesson];
    const { part, beside, who, program, answer, step, mode } = this;
    return { pagewise: 1, lesson: lesson ? lesson.name : "", mode, part, beside, who, program, answer, step };
  },

  /**
   * Takes up a place: from a link, a file. What is not as it should be is left out.
   * @param {any} place
   */
  take(place) {
    const text = (/** @type {any} */ value, /** @type {number} */ most) => (typeof value === "string" ? value.slice(0, most) : "");
    const part = (/** @type {any} */ id) => (data.parts.some((one) => one.id === id) ? id : "");
    const number = (/** @type {any} */ value) => (Number.isSafeInteger(value) ? value : -1);
    this.lesson = data.lessons.findIndex((lesson) => lesson.name === place.lesson);
    const lesson = data.lessons[this.lesson];
    this.mode = !lesson ? "free" : ["fail", "task"].includes(place.mode) ? place.mode : "ask";
    this.part = part(place.part) || (lesson ? lesson.part : data.opening.part) || data.parts[0].id;
    this.beside = part(place.beside);
    this.who = text(place.who, 40);
    this.program = text(place.program, LONGEST_PROGRAM);
    this.answer = number(place.answer);
    by("lesson").value = String(this.lesson);
    by("part").value = this.part;
    by("beside").value = this.beside;
    by("who").value = this.who;
    by("program").value = this.program;
    lessons.show();
    this.open(number(place.step));
  },
};

/** Links and files. */
const sharing = {
  /** @param {object} place */
  link(place) {
    const bytes = new TextEncoder().encode(JSON.stringify(place));
    const text = Array.from(bytes, (byte) => String.fromCharCode(byte)).join("");
    return btoa(text).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
  },

  /**
   * @param {string} link
   * @returns {any}
   */
  read(link) {
    try {
      const text = atob(link.replaceAll("-", "+").replaceAll("_", "/"));
      const place = JSON.parse(new TextDecoder().decode(Uint8Array.from(text, (c) => c.charCodeAt(0))));
      return place !== null && typeof place === "object" ? place : null;
    } catch {
      return null;
    }
  },

  share() {
    const link = this.link(app.place());
    const length = link.length + 1;
    if (length > LONGEST_LINK) {
      by("said").textContent = say("share_long", { length });
      return;
    }
    history.replaceState(null, "", `#${link}`);
    by("said").textContent = say("share_done", { length });
  },

  save() {
    const blob = new Blob([JSON.stringify(app.place(), null, 1)], { type: "application/json" });
    const link = element("a", { href: URL.createObjectURL(blob), download: `${app.place().lesson || "program"}.json` });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.getAttribute("href") ?? ""), 10000);
  },

  /**
   * A model, or what was saved.
   * @param {File} file
   */
  async take(file) {
    let read = null;
    try {
      read = file.size < 1000000 ? JSON.parse(await file.text()) : null;
    } catch {
      read = null;
    }
    if (read && read.pagewise === 1) return app.take(read);
    const checked = engine.ask({ do: "check", model: read });
    if (checked.error) {
      by("said").textContent = say("not_added", { reason: checked.error });
      return;
    }
    const id = `added ${data.parts.length}`;
    data.parts.push({ id, name: checked.name, model: read });
    for (const list of ["part", "beside"]) by(list).append(element("option", { value: id }, checked.name));
    by("part").value = id;
    app.part = id;
    by("said").textContent = say("added", { name: checked.name });
    app.open();
  },
};
