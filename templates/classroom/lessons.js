/** Lessons: predict, see it fail, repair it. */
const lessons = {
  /**
   * Begins one; -1 is a program of one's own.
   * @param {number} index
   */
  begin(index) {
    const lesson = data.lessons[index];
    if (!lesson) return app.take({ ...data.opening, who: app.who });
    app.take({ lesson: lesson.name, mode: "ask", part: lesson.part, beside: "", who: app.who, program: this.fill(lesson.program), step: 0 });
  },

  /** @param {string} text */
  fill: (text) => engine.ask({ do: "fill", text, who: app.who }).text ?? text,

  show() {
    const lesson = data.lessons[app.lesson];
    const talk = by("talk");
    talk.hidden = !lesson;
    by("bench").hidden = app.mode === "ask";
    talk.replaceChildren();
    if (!lesson) return;
    talk.append(element("h2", {}, lesson.title), element("h3", {}, say("belief")), element("p", {}, lesson.belief));
    if (app.mode === "ask") talk.append(element("pre", { tabindex: 0 }, this.fill(lesson.program)));
    talk.append(this.question(lesson));
    if (app.mode === "ask") return;
    if (app.mode === "fail") {
      talk.append(element("p", {}, say("reveal")));
      talk.append(element("details", {}, element("summary", {}, say("went")), element("p", {}, lesson.went)));
      talk.append(element("button", { type: "button", id: "start", class: "main", onclick: () => this.start() }, say("task_start")));
    }
    talk.append(element("h3", {}, say("task")), element("p", {}, lesson.task));
    if (lesson.may_set.length) talk.append(element("p", {}, say("may_set", { words: lesson.may_set.join(", ") })));
    if (app.mode === "task") {
      talk.append(element("button", { type: "button", id: "check", class: "main", onclick: () => this.check(lesson) }, say("check")), element("div", { id: "checked", role: "status" }));
    }
  },

  /** @param {Lesson} lesson */
  question(lesson) {
    const asked = app.mode === "ask";
    const group = element("fieldset", {}, element("legend", {}, asked ? `${say("ask")} ${lesson.ask}` : lesson.ask));
    lesson.choices.forEach((choice, index) => {
      const input = element("input", { type: "radio", name: "choice", value: index, checked: app.answer === index, disabled: !asked });
      group.append(element("label", {}, input, ` ${choice.text}`));
    });
    if (asked) {
      group.append(element("button", { type: "button", id: "answer", class: "main", onclick: () => this.answer() }, say("answer")));
      return group;
    }
    const chosen = lesson.choices[app.answer];
    if (chosen) group.append(element("p", { class: chosen.right ? "good" : "bad" }, `${say(chosen.right ? "right" : "wrong")} ${chosen.why}`));
    return group;
  },

  answer() {
    const chosen = document.querySelector("input[name=choice]:checked");
    if (!(chosen instanceof HTMLInputElement)) return;
    app.answer = Number(chosen.value);
    app.mode = "fail";
    this.show();
    app.open();
    by("start").focus();
  },

  start() {
    app.mode = "task";
    this.show();
    app.open();
    by("program").focus();
  },

  /**
   * Tries the student's program on every part that the page knows.
   * @param {Lesson} lesson
   */
  check(lesson) {
    app.open(app.step);
    const { reads, either, tolerates, cycles } = lesson.goal;
    let all = true;
    const items = lesson.checks.map((check) => {
      const answer = engine.ask({ do: "grade", model: app.model(check.part), task: app.task(), reads, either, tolerates, cycles, extra: check.board });
      const passed = answer.graded?.is === "passed";
      all &&= passed;
      const part = check.board ? `${check.part} (${check.board.replaceAll("\n", ", ")})` : check.part;
      const text = passed ? say("check_passed", { part }) : `${part}: ${view.graded(answer)}`;
      return element("li", { class: passed ? "good" : "bad" }, text);
    });
    by("checked").replaceChildren(element("ul", {}, ...items), all ? element("p", { class: "good" }, say("check_all")) : "");
  },

  /** The sheet of a class: every question, with room for a name. */
  sheet() {
    const articles = data.lessons.map((lesson) =>
      element("article", {}, element("h2", {}, lesson.title), element("p", {}, lesson.belief), element("pre", {}, lesson.program),
        element("p", {}, lesson.ask), element("ul", {}, ...lesson.choices.map((choice) => element("li", {}, `☐ ${choice.text}`))),
        element("p", {}, `${say("task")}: ${lesson.task}`)));
    by("sheet").replaceChildren(element("h1", {}, say("sheet_title")), element("p", {}, `${say("sheet_name")}: ______________________`), ...articles);
  },
};

/** How an offset becomes an address. */
function showAddress() {
  const offset = Number.parseInt(by("offset").value, 16);
  const pins = [false, false, false];
  const answer = engine.ask({ do: "address", model: app.model(app.part), pins, offset: Number.isNaN(offset) ? 0 : offset });
  by("anatomy").replaceChildren(view.address(answer.header ?? null, offset || 0));
}

function wire() {
  const on = (/** @type {string} */ id, /** @type {string} */ kind, /** @type {(event: any) => void} */ done) => by(id).addEventListener(kind, done);
  by("lesson").append(element("option", { value: -1 }, say("free")), ...data.lessons.map((lesson, index) => element("option", { value: index }, `${index + 1}. ${lesson.title}`)));
  by("part").append(...data.parts.map((part) => element("option", { value: part.id }, part.name)));
  by("beside").append(element("option", { value: "" }, say("beside_none")), ...data.parts.map((part) => element("option", { value: part.id }, part.name)));
  by("words").append(element("option", { value: "" }, ""), ...data.words.map((word) => element("option", { value: word }, word)));
  on("lesson", "change", () => lessons.begin(Number(by("lesson").value)));
  on("part", "change", () => { app.part = by("part").value; app.open(); showAddress(); });
  on("beside", "change", () => { app.beside = by("beside").value; app.open(); });
  on("who", "change", () => { app.who = by("who").value; if (app.lesson >= 0) lessons.begin(app.lesson); });
  on("play", "click", () => { app.open(); });
  on("words", "change", () => {
    const text = by("program");
    if (by("words").value) text.value += `${text.value && !text.value.endsWith("\n") ? "\n" : ""}${by("words").value}\n`;
    by("words").value = "";
  });
  on("first", "click", () => app.go(0));
  on("back", "click", () => app.go(app.step - 1));
  on("next", "click", () => app.go(app.step + 1));
  on("event", "click", () => app.nextEvent());
  on("last", "click", () => app.go(app.steps));
  on("run", "click", () => app.run());
  on("slide", "input", () => app.go(Number(by("slide").value)));
  on("speed", "input", () => { if (app.timer !== null) { app.pause(); app.run(); } });
  on("bits", "change", () => app.go(app.step));
  on("share", "click", () => sharing.share());
  on("save", "click", () => sharing.save());
  on("open", "change", () => { if (by("open").files[0]) sharing.take(by("open").files[0]); by("open").value = ""; });
  on("print", "click", () => { lessons.sheet(); print(); });
  on("offset", "input", showAddress);
  addEventListener("beforeprint", () => lessons.sheet());
  addEventListener("hashchange", () => { const place = sharing.read(location.hash.slice(1)); if (place) app.take(place); });
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", (event) => { event.preventDefault(); if (event.dataTransfer?.files[0]) sharing.take(event.dataTransfer.files[0]); });
  addEventListener("keydown", keys);
}

/**
 * Keys outside of fields.
 * @param {KeyboardEvent} event
 */
function keys(event) {
  const target = event.target instanceof Element ? event.target : document.body;
  if (event.ctrlKey || event.altKey || event.metaKey || target.closest("textarea, input, select, [tabindex]")) return;
  const press = event.key === " " && target.closest("button, summary, a");
  /** @type {Record<string, () => void>} */
  const done = { ArrowRight: () => app.go(app.step + 1), ArrowLeft: () => app.go(app.step - 1), Home: () => app.go(0), End: () => app.go(app.steps), n: () => app.nextEvent(), N: () => app.nextEvent(), " ": () => app.run() };
  if (press || !(event.key in done)) return;
  event.preventDefault();
  done[event.key]();
}

engine.load().then(() => {
  wire();
  app.take(sharing.read(location.hash.slice(1)) ?? data.opening);
  showAddress();
  document.body.dataset.began = String(began);
  document.body.dataset.ready = String(performance.now());
}, (error) => {
  by("alarm").textContent = say("broken", { reason: error instanceof Error ? error.message : "" });
  by("alarm").hidden = false;
});
