// Asks the simulator as WebAssembly every question of standard input, a line each, and prints length and digest of each
// answer.
//
//     node ask.mjs FILE.wasm
import { readFileSync } from "node:fs";

const { instance } = await WebAssembly.instantiate(readFileSync(process.argv[2]), {});
const { memory, reserve, ask, answer } = instance.exports;
const said = [];
for (const line of readFileSync(0, "utf8").split("\n").filter(Boolean)) {
  const question = new TextEncoder().encode(line);
  const at = reserve(question.length);
  new Uint8Array(memory.buffer, at, question.length).set(question);
  const bytes = ask();
  let digest = 0x811c9dc5;
  for (const byte of new Uint8Array(memory.buffer, answer(), bytes)) {
    digest = Math.imul(digest ^ byte, 0x01000193) >>> 0;
  }
  said.push(`${bytes} ${digest.toString(16)}`);
}
process.stdout.write(said.join("\n"));
