/** Program, bus and chips as they are drawn. */
const view = {
  /**
   * The program with the place that is being played.
   * @param {string} program
   * @param {Place|null} place
   */
  program(program, place) {
    const lines = program.split("\n").slice(0, 2000).map((line, index) => {
      if (!place || place.line !== index + 1) return element("div", {}, line);
      const text = Array.from(line);
      const [from, to] = [place.column - 1, place.column - 1 + place.len];
      const part = (/** @type {number} */ a, /** @type {number} */ b) => text.slice(a, b).join("");
      return element("div", {}, part(0, from), element("mark", {}, part(from, to)), part(to, text.length));
    });
    by("text").replaceChildren(...lines);
    const mark = by("text").querySelector("mark");
    if (mark) mark.scrollIntoView({ block: "nearest" });
  },

  /**
   * What was on the bus in this transfer.
   * @param {Answer} lane
   * @param {boolean} bits
   */
  bus(lane, bits) {
    const first = lane.bus.length - lane.fresh;
    const items = lane.bus.map((/** @type {Answer} */ event, /** @type {number} */ index) => {
      const fresh = index >= first ? "fresh" : "";
      if (event.is !== "byte") return element("li", { class: fresh }, say(event.is));
      const theirs = event.by === "chip";
      const refused = !theirs && !event.acked;
      const kind = [fresh, theirs ? "chip" : "", refused ? "refused" : ""].join(" ").trim();
      const value = event.address ? `${hex(event.byte >> 1, 2)}${event.byte & 1 ? "R" : "W"}` : hex(event.byte, 2);
      const name = event.address ? say("device_address", { direction: say(event.byte & 1 ? "read" : "write") }) : say("byte");
      const who = `${name}, ${say(theirs ? "by_chip" : "by_controller")}, ${say(event.acked ? "acknowledged" : "refused")}`;
      const shown = bits ? this.bits(event) : element("span", {}, `${value}${event.acked ? "+" : "-"}`);
      return element("li", { class: kind, title: who }, shown, element("span", { class: "skip" }, ` ${who}`));
    });
    const notes = [lane.skipped ? say("skipped") : "", lane.surprise ? say("surprise") : ""].filter(Boolean).join(" ");
    const list = items.length ? element("ul", { class: "wires", tabindex: 0, "aria-label": say("bus") }, ...items) : element("p", { class: "faint" }, say("bus_idle"));
    return element("div", { class: "lane" }, element("h3", {}, lane.part), list, notes ? element("p", { class: "bad" }, notes) : null, this.told(lane));
  },

  /**
   * Eight bits and the acknowledge bit, each under who drives it.
   * @param {Answer} event
   */
  bits(event) {
    const theirs = event.by === "chip" ? "chip" : "";
    const all = [];
    for (let bit = 7; bit >= 0; bit -= 1) all.push(element("b", { class: theirs }, (event.byte >> bit) & 1));
    all.push(element("b", { class: theirs ? "" : "chip" }, event.acked ? "0" : "1"));
    return element("span", { class: "bits" }, ...all);
  },

  /**
   * What the detectors said, in the words of the program.
   * @param {Answer} lane
   */
  told(lane) {
    if (!lane.told.length) return element("p", { class: "faint" }, say("told_none"));
    const lines = app.program.split("\n");
    const items = lane.told.map((/** @type {Answer} */ one) => {
      const line = Array.from(lines[one.place.line - 1] ?? "");
      const words = line.slice(one.place.column - 1, one.place.column - 1 + one.place.len).join("");
      return element("li", {}, say(one.place.line ? "told_line" : "told_end", { line: one.place.line, words, hazard: one.hazard, text: one.text }));
    });
    return element("div", {}, element("h3", {}, say("told")), element("ul", { class: "told bad" }, ...items));
  },

  /**
   * A chip.
   * @param {Answer} lane
   * @param {boolean} over
   */
  chip(lane, over) {
    const chip = lane.chip;
    const level = (/** @type {boolean} */ high) => say(high ? "high" : "low");
    const [phase, left] = typeof chip.phase === "string" ? [chip.phase, 0] : [Object.keys(chip.phase)[0], chip.phase[Object.keys(chip.phase)[0]].left];
    const facts = [
      [say("phase"), chip.awake ? say(`phase_${phase}`, { left }) : say("phase_asleep")],
      [say("pins"), [2, 1, 0].map((pin) => (chip.pins[pin] ? "1" : "0")).join(" ")],
      [say("wp"), level(chip.wp_high) + (chip.protects ? `, ${say("protects")}` : "")],
      [say("supply"), `${(lane.supply_mv / 1000).toFixed(2)} V`],
      [say("time"), `${(lane.at_ns / 1e6).toFixed(3)} ms`],
      [say("pointer"), chip.pointer_set ? at(chip.pointer) : say("pointer_unset", { offset: at(chip.pointer) })],
      [say("latch"), chip.latch ? say("latch_of", { count: chip.latch.received, next: at(chip.latch.next), first: at(chip.latch.page), last: at(chip.latch.page + chip.latch.size - 1) }) : say("latch_none")],
      [say("wear"), say("wear_of", { cycles: lane.worn[0], rated: lane.worn[1] })],
    ];
    const list = element("dl", {}, ...facts.flatMap(([name, value]) => [element("dt", {}, name), element("dd", {}, value)]));
    list.append(element("dt", {}, say("cycle")), element("dd", {}, ...this.cycle(lane)));
    return element("div", { class: "lane" }, element("h3", {}, lane.part), list, this.memory(lane, over), over ? this.losses(lane) : null);
  },

  /**
   * The write cycle as it runs down.
   * @param {Answer} lane
   * @returns {(Node|string)[]}
   */
  cycle(lane) {
    const cycle = lane.chip.cycle;
    if (!cycle) return [say("cycle_none")];
    const [whole, left] = [cycle.ends_ns - cycle.starts_ns, Math.max(0, cycle.ends_ns - lane.at_ns)];
    const ms = (/** @type {number} */ ns) => (ns / 1e6).toFixed(2);
    return [say("cycle_left", { left: ms(left), whole: ms(whole) }), element("progress", { max: whole, value: whole - left, "aria-label": say("cycle") })];
  },

  /**
   * Memory: what was meant, what is there, what is coming.
   * @param {Answer} lane
   * @param {boolean} over
   */
  memory(lane, over) {
    const body = element("tbody");
    for (const row of lane.rows) {
      const cells = (/** @type {(number|null)[]} */ bytes, /** @type {(index: number) => string} */ kind) =>
        bytes.map((byte, index) => element("td", { class: kind(index) }, byte === null ? "·" : hex(byte, 2)));
      const lost = (/** @type {number} */ i) => over && row.meant[i] !== null && row.meant[i] !== row.found[i];
      const kind = (/** @type {number} */ i) => [lost(i) ? "lost" : "", row.offset + i === lane.chip.pointer ? "pointer" : ""].join(" ").trim();
      const line = (/** @type {string} */ name, /** @type {Node[]} */ made, /** @type {boolean} */ first) =>
        element("tr", first ? { class: "first" } : {}, element("th", { scope: "row" }, first ? `${at(row.offset)} ${name}` : name), ...made);
      const meant = row.meant.some((/** @type {any} */ byte) => byte !== null);
      const coming = row.coming.some((/** @type {any} */ byte) => byte !== null);
      if (meant) body.append(line(say("meant"), cells(row.meant, () => ""), true));
      body.append(line(say("there"), cells(row.found, kind), !meant));
      if (coming) body.append(line(say("coming"), cells(row.coming, (i) => (row.coming[i] === null ? "" : "coming")), false));
    }
    const table = element("table", {}, element("caption", {}, say("memory_caption")), body);
    const more = lane.more_rows ? element("p", { class: "faint" }, say("more_rows")) : null;
    return element("div", { class: "wide", tabindex: 0, role: "group", "aria-label": say("memory") }, table, more);
  },

  /**
   * Where bytes went.
   * @param {Answer} lane
   */
  losses(lane) {
    if (!lane.lost) return element("p", { class: "good" }, say("lost_none"));
    const items = lane.losses.map((/** @type {string} */ text) => element("li", {}, text));
    return element("div", {}, element("h3", {}, say("losses")), element("p", { class: "bad" }, say("lost_count", { count: lane.lost })), element("ul", { class: "told" }, ...items));
  },

  /**
   * The bits of an address.
   * @param {Answer|null} header
   * @param {number} offset
   */
  address(header, offset) {
    if (!header) return element("p", {}, say("address_beyond"));
    const rows = header.bits.map((/** @type {Answer[]} */ bits, /** @type {number} */ index) => {
      const value = index ? header.word[index - 1] : header.control;
      const cells = bits.map((bit) => element("td", {}, element("b", {}, bit.high ? "1" : "0"), element("br"), bit.role));
      return element("tr", {}, element("th", { scope: "row" }, hex(value, 2)), ...cells);
    });
    const caption = say("address_caption", { offset: at(offset), first: at(header.page_first), last: at(header.page_last) });
    return element("div", { class: "wide", tabindex: 0, role: "group", "aria-label": say("address") }, element("table", {}, element("caption", {}, caption), element("tbody", {}, ...rows)));
  },

  /**
   * What a check came to.
   * @param {Answer} answer
   */
  graded(answer) {
    if (answer.faults) return say("graded_faulty", { reason: answer.faults[0].reason });
    const graded = answer.graded ?? { is: "faulty" };
    const values = { ...graded, reason: answer.error ?? "" };
    if ("offset" in values) values.offset = at(values.offset);
    if ("first" in values) values.first += 1;
    const place = answer.place && answer.place.line && graded.is !== "passed" ? ` ${say("graded_at", { line: answer.place.line })}` : "";
    return say(`graded_${graded.is}`, values) + place;
  },
};
