// The page: reads its controls, asks Python, shows what comes back. It computes nothing.
"use strict";

const settings = JSON.parse(document.getElementById("lab-settings").textContent);
const [wantedLesson, givenToken] = location.hash.slice(1).split("&");
const state = document.getElementById("lab-state");

// What was tried here, kept until this tab is closed.
const kept = {
  read(name, otherwise) {
    try { return JSON.parse(sessionStorage.getItem(`lab-${name}`)) ?? otherwise; } catch { return otherwise; }
  },
  write(name, value) {
    try { sessionStorage.setItem(`lab-${name}`, JSON.stringify(value)); } catch { /* Then until a reload. */ }
  },
};
const attempts = kept.read("attempts", []);

function noteAttempt(lesson, kind, values, stated, shown, right) {
  attempts.push({time: new Date().toISOString(), lesson, kind, values, stated, shown, right});
  kept.write("attempts", attempts);
}

function csv() {
  // A cell that a table program would take for a formula gets a sign before it.
  const cell = (value) => `"${String(value).replace(/^[=+\-@\t\r]/, "'$&").replaceAll('"', '""')}"`;
  const rows = attempts.map((one) => [one.time, one.lesson, one.kind,
    Object.entries(one.values).map(([name, value]) => `${name}=${value}`).join("; "),
    one.stated, one.shown, one.right ? "yes" : "no"]);
  const head = ["time", "lesson", "kind", "settings", "stated", "shown", "right"];
  return [head, ...rows].map((row) => row.map(cell).join(",")).join("\r\n") + "\r\n";
}

function saveAnswers() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob(["\ufeff", csv()], {type: "text/csv"}));
  link.download = "lab-answers.csv";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

// One lesson: its controls, its question, its figure.
class Lesson {
  constructor(section, engine) {
    this.section = section;
    this.engine = engine;
    this.number = Number(section.dataset.lesson);
    this.controls = [...section.querySelectorAll("[data-name]")];
    this.radios = [...section.querySelectorAll("input[type=radio]")];
    this.question = section.querySelector(".lab-predict");
    this.reveal = section.querySelector(".lab-reveal");
    this.outcome = section.querySelector(".lab-outcome");
    this.figure = section.querySelector(".lab-figure");
    this.check = section.querySelector(".lab-check");
    this.parts = JSON.parse(section.dataset.parts);
    this.asGiven = this.question.dataset.settings === "given";
    this.waiting = null;
    this.busy = false;
    this.tries = 0;
    this.setValues(JSON.parse(section.dataset.start));
    this.lock(this.asGiven && !kept.read(`seen-${this.number}`, false));
    if (this.asGiven && !this.locked) { this.question.hidden = true; }
    for (const control of this.controls) { control.addEventListener("input", () => this.changed()); }
    for (const radio of this.radios) {
      radio.addEventListener("change", () => { this.reveal.disabled = false; });
    }
    this.reveal.addEventListener("click", () => this.state());
    narrow.addEventListener("change", () => this.draw());
  }

  // Until the answer is stated, the settings stay as they are.
  lock(locked) {
    this.locked = locked;
    for (const control of this.controls) { control.disabled = locked; }
  }

  values() {
    return Object.fromEntries(this.controls.map((control) => {
      if (control.type === "checkbox") { return [control.dataset.name, control.checked]; }
      const number = control.type === "range" || control.dataset.number !== undefined;
      return [control.dataset.name, number ? Number(control.value) : control.value];
    }));
  }

  setValues(values) {
    for (const control of this.controls) {
      const value = values[control.dataset.name];
      if (control.type === "checkbox") { control.checked = value; } else { control.value = value; }
    }
    this.say();
  }

  // Writes each slider's value beside it, and says it to those who can't see it.
  say() {
    const values = this.values();
    for (const control of this.controls) {
      if (control.type !== "range") { continue; }
      const said = `${values[control.dataset.name]} ${control.dataset.unit}`;
      control.setAttribute("aria-valuetext", said);
      this.section.querySelector(`output[for="${control.id}"]`).textContent = said;
    }
  }

  changed() {
    this.say();
    this.tries += 1;
    if (!this.asGiven) { this.askAnew(); }
    this.ask({});
  }

  // A question about the settings as they stand is a new one when they change.
  askAnew() {
    this.question.classList.remove("lab-done");
    this.outcome.textContent = "";
    for (const radio of this.radios) { radio.checked = false; }
    this.reveal.disabled = true;
  }

  state() {
    const stated = this.radios.find((radio) => radio.checked);
    if (!stated) { return; }
    this.reveal.disabled = true;
    this.ask({guess: stated.value});
  }

  // Only the latest wish waits while a ride is on its way: values between are dropped.
  async ask(more) {
    this.waiting = {lesson: this.number, values: this.values(), ...more};
    if (this.busy) { return; }
    this.busy = true;
    this.figure.setAttribute("aria-busy", "true");
    while (this.waiting) {
      const request = this.waiting;
      this.waiting = null;
      const answer = await this.engine.call(request);
      if (!(this.waiting && request.guess === undefined && this.stale(request))) { this.show(request, answer); }
    }
    this.busy = false;
    this.figure.setAttribute("aria-busy", "false");
  }

  // What must not be shown any more: a hidden figure would follow a revealed one.
  stale(request) { return this.waiting.guess !== undefined && request.guess === undefined; }

  show(request, answer) {
    if (answer.refused) {
      this.check.textContent = answer.refused;
      this.check.className = "lab-check lab-open";
      return;
    }
    this.drawn = answer.figure;
    this.draw();
    this.shown = JSON.stringify(answer.values);
    if (request.guess !== undefined) { this.revealed(request.guess, answer); } else { this.checked(answer); }
    this.figure.dispatchEvent(new Event("drawn"));
  }

  draw() {
    if (this.drawn === undefined || this.section.hidden) { return; }
    this.figure.innerHTML = this.drawn;
    if (narrow.matches) { narrowed(this.figure, this.parts); }
  }

  checked(answer) {
    this.check.textContent = answer.words;
    this.check.className = `lab-check ${answer.solved ? "lab-solved" : "lab-open"}`;
    if (answer.solved && this.solved !== this.shown) {
      this.solved = this.shown;
      noteAttempt(this.number, "exercise", answer.values, `change ${this.tries}`, answer.words, true);
    }
  }

  revealed(guess, answer) {
    const verdict = answer.right ? "✓ Right" : "✗ Wrong";
    const shown = `${verdict}. You said: ${guess}. The ride shows: ${answer.outcome}. ${answer.why}`;
    this.outcome.textContent = shown.trim();
    this.outcome.className = `lab-outcome ${answer.right ? "lab-met" : "lab-unmet"}`;
    this.question.classList.add("lab-done");
    noteAttempt(this.number, "prediction", answer.values, guess, answer.outcome, answer.right);
    if (this.asGiven) {
      kept.write(`seen-${this.number}`, true);
      this.lock(false);
      this.setValues(answer.values);
      this.checked(answer);
    } else {
      this.check.textContent = answer.right ? "Correct. Now break something else." : "Try another one.";
    }
  }

  open() {
    this.draw();
    if (this.shown !== JSON.stringify(this.values()) && !this.busy) { this.ask({}); }
  }
}

// The pupil's own controller.
class OwnLoop {
  constructor(section, engine) {
    this.engine = engine;
    this.code = document.getElementById("own-code");
    this.first = this.code.value;
    this.code.value = kept.read("code", this.first);
    this.button = document.getElementById("own-ride");
    this.said = document.getElementById("own-said");
    this.button.addEventListener("click", () => this.ride());
    document.getElementById("own-reset").addEventListener("click", () => { this.code.value = this.first; });
    this.code.addEventListener("keydown", (event) => {
      if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) { event.preventDefault(); this.ride(); }
    });
    section.addEventListener("input", () => kept.write("code", this.code.value));
  }

  open() { this.engine.spare?.(); }

  async ride() {
    if (this.button.disabled) { return; }
    this.button.disabled = true;
    this.said.textContent = "Riding …";
    const answer = await this.engine.own(this.code.value);
    this.button.disabled = false;
    this.show(answer);
  }

  // What a pupil's code sends is text or a picture here, never a part of the page.
  show(answer) {
    const rules = Array.isArray(answer.rules) ? answer.rules : [];
    document.getElementById("own-rules").replaceChildren(...rules.map((rule) => {
      const item = document.createElement("li");
      const more = document.createElement("span");
      more.textContent = ` ${rule.measured}, wanted: ${rule.allowed}`;
      item.className = rule.held === true ? "lab-held" : "";
      item.append(`${rule.name}:`, more);
      return item;
    }));
    const figure = document.getElementById("own-figure");
    figure.hidden = !answer.svg;
    if (answer.svg) {
      figure.src = `data:image/svg+xml,${encodeURIComponent(answer.svg)}`;
      figure.alt = /aria-label="([^"]*)"/.exec(answer.svg)?.[1] ?? "the ride";
    }
    const printed = document.getElementById("own-printed");
    printed.hidden = !(answer.said?.length);
    printed.textContent = printed.hidden ? "" : answer.said.join("\n");
    const held = rules.filter((rule) => rule.held === true).length;
    const words = held === 3 ? "All three rules held on these rides. That proves nothing: the firmware is checked against many more."
      : `${held} of 3 rules held.`;
    this.said.textContent = answer.refused ? `✗ ${answer.refused}` : words;
    if (answer.line) { this.select(answer.line); }
    noteAttempt("own loop", "own loop", {lines: this.code.value.split("\n").length}, `${held} of 3 rules`,
      answer.refused ?? words, held === 3);
  }

  select(line) {
    const lines = this.code.value.split("\n");
    const begin = lines.slice(0, line - 1).reduce((sum, text) => sum + text.length + 1, 0);
    this.code.focus();
    this.code.setSelectionRange(begin, begin + (lines[line - 1] ?? "").length);
  }
}

function engineOfThisPage() {
  if (settings.mode === "http") {
    const token = givenToken || kept.read("token", "");
    kept.write("token", token);
    return new HttpEngine(token);
  }
  return new WorkerEngine(self.TREADLE_FILES, settings.lock, settings.worker);
}

async function main() {
  const engine = engineOfThisPage();
  const sections = [...document.querySelectorAll("section")];
  const parts = sections.map((one) => (one.className === "lab-own" ? new OwnLoop(one, engine) : new Lesson(one, engine)));
  let ready = false;
  const open = (moved) => {
    const wanted = Math.min(Math.max(parseInt(location.hash.slice(1), 10) || 1, 1), sections.length);
    sections.forEach((section, at) => { section.hidden = at + 1 !== wanted; });
    for (const link of document.querySelectorAll(".lab-top a")) {
      if (link.hash === `#${wanted}`) { link.setAttribute("aria-current", "page"); } else { link.removeAttribute("aria-current"); }
    }
    if (moved) { sections[wanted - 1].querySelector("h1").focus(); }
    document.title = `Treadle lab: ${sections[wanted - 1].querySelector("h1").textContent}`;
    if (ready) { parts[wanted - 1].open(); }
  };
  if (givenToken) { history.replaceState(null, "", `#${wantedLesson || 1}`); }
  document.getElementById("lab-save").addEventListener("click", saveAnswers);
  window.addEventListener("hashchange", () => open(true));
  open(false);
  try {
    await engine.ready();
  } catch (error) {
    state.textContent = `Python can't start here: ${error.message}`;
    return;
  }
  state.textContent = "";
  ready = true;
  open(false);
}

main();
