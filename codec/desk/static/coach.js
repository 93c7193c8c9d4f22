// The coach's page: one key a mark. What is done is kept here until the desk says that it is on the disk.
import { address, answered, by, element, told as tellAt } from "./common.js";
import { Clock } from "./clock.js";
import { drawClosing } from "./closing.js";

const { sheet } = by("coach").dataset;
const clock = new Clock(address("drill-time", sheet));
const KEPT = `niner-marks-${sheet}`;
let state = { answers: [], told: [] }, waiting = JSON.parse(localStorage.getItem(KEPT) ?? "[]"), sending = false;

function say(on, words) {
  by("line").dataset.state = on ? "on" : "off";
  by("line").textContent = words;
}

// acts

function keep() {
  localStorage.setItem(KEPT, JSON.stringify(waiting));
  by("pending").replaceChildren(...waiting.map(({ act, shown }) => element("li", `${act} ${shown ?? ""}`)));
}

function act(name, more = {}, shown = "") {
  waiting.push({ act: name, shown, error: clock.error / 1000, ...more });
  keep();
  flush();
}

// One after the other, until each was answered; what the desk refuses is told, and not sent again.
async function flush() {
  if (sending) return;
  sending = true;
  try {
    while (waiting.length) {
      const [first] = waiting;
      const answer = await fetch(address("coach-act", sheet), { method: "POST", body: JSON.stringify(first) });
      const told = await answered(answer);
      if (answer.status === 503) throw new Error(told.lines.join(" "));
      waiting.shift();
      keep();
      if (!answer.ok && told.kind !== "drill-marked") tellAt(by("told"), { tone: "bad", lines: [`${first.act} ${first.shown}: ${told.lines[0]}`, ...told.lines.slice(1)] });
      else if (first.act !== "first") drawSaid();
    }
  } catch { setTimeout(flush, 1000); } finally { sending = false; }
}

// keys

const last = () => state.answers.at(-1);
const asked = () => state.asked;

const KEYS = {
  " ": (at) => { if (asked()) act("first", { number: asked().number, at }); },
  r: (at) => mark(at, {}),
  c: (at) => mark(at, { corrected: true }),
  w: (at) => mark(at, { text: "?" }),
  s: () => { if (asked()) act("again"); },
  u: () => { if (last()) act("undo", { number: last().seq }, last().shown); },
  n: () => { if (last()) fix(last()); },
  e: () => act("end"),
};

let sent = 0; // the question whose mark is on its way: a key pressed twice marks once
function mark(at, more) {
  if (!asked() || asked().stage !== "seen" || asked().number === sent) return;
  sent = asked().number;
  act("mark", { number: sent, at, text: null, kept: asked().kept, ...more }, asked().text);
}

addEventListener("keydown", (event) => {
  if (event.repeat || event.altKey || event.ctrlKey || event.metaKey || event.target.closest("input, select, textarea, dialog, a")) return;
  const name = event.key.toLowerCase();
  if (!state.held && !["n", "u"].includes(name)) return;
  if (name in KEYS) { event.preventDefault(); KEYS[name](clock.desk(event.timeStamp)); }
});
document.querySelector(".marks").addEventListener("click", (event) => {
  const { key } = event.target.closest("button")?.dataset ?? {};
  if (key) { KEYS[key](clock.desk(event.timeStamp)); document.activeElement.blur(); }
});

by("begin").addEventListener("submit", (event) => {
  event.preventDefault();
  const form = Object.fromEntries(new FormData(by("begin")));
  sent = 0;
  act("begin", { ...form, second_task: "second_task" in form, alone: "alone" in form, voice: "voice" in form, keep_sound: "keep_sound" in form }, form.person);
  document.activeElement.blur();
});

// putting right

let fixed = 0;
function fix(one) {
  fixed = one.seq;
  by("fix-title").textContent = `${one.shown}: ${one.meaning}`;
  by("fix-outcome").value = "note";
  by("fix-text").value = one.said === one.shown ? "" : one.said;
  by("fix-note").value = one.note;
  by("fix").showModal();
  by("fix-note").focus();
}
by("fix").querySelector("form").addEventListener("submit", () => {
  act("correct", { number: fixed, outcome: by("fix-outcome").value, text: by("fix-text").value.trim(), note: by("fix-note").value.trim() });
});
by("fix-leave").addEventListener("click", () => by("fix").close());
by("answers").addEventListener("click", (event) => {
  const button = event.target.closest("button");
  const one = state.answers.find(({ seq }) => String(seq) === button?.dataset.seq);
  if (one) fix(one);
});

// drawing

const STAGES = { waiting: "waits for the driver’s device", shown: "is being flashed …", seen: "say it: mark it" };

// What the desk has said last: it stays beside the answer to a mark, whichever of the two comes first.
const said = () => state.told.slice(-2);
const drawSaid = () => tellAt(by("told"), { tone: "warning", lines: said() });

function draw(told) {
  state = told;
  const { driver, asked: question } = told;
  const device = driver.here ? `driver’s device: clock ± ${driver.error} ms, frame ${driver.frame} ms; here ± ${clock.error.toFixed(1)} ms`
    : told.held && driver.ever ? "driver’s device is away or asleep"
    : `${told.held ? "" : "connected; "}no driver’s device yet: open the driver page on it, and begin there`;
  say(!told.held || driver.here, device);
  by("begin").hidden = told.held;
  by("asking").hidden = !question;
  if (question) {
    by("progress").textContent = `${told.person}: ${question.number} of ${told.of}, ${question.kind}; ${question.exposure} ms is ${question.metres} m`;
    by("dash").textContent = question.groups.join(" ");
    by("words").textContent = question.words;
    by("why").textContent = question.why;
    by("stage").textContent = told.alone && question.stage === "seen" ? "the driver types" : STAGES[question.stage];
    by("stage").dataset.stage = question.stage;
  }
  const words = said().join("\n");
  if (words !== draw.before) drawSaid();
  draw.before = words;
  by("marked").hidden = !told.answers.length;
  by("answers").replaceChildren(...told.answers.toReversed().map(row));
  by("closing").hidden = !told.closing;
  if (told.closing) {
    drawClosing(by("closing"), told.closing, told.over);
    const { exposure } = told.closing.next;
    if (exposure && !told.held && draw.over !== told.closing.sessions.length) by("exposure").value = Math.round(exposure * 100) * 10;
    draw.over = told.closing.sessions.length;
  }
}

draw.before = "";

function row(one) {
  const made = element("tr");
  const button = Object.assign(element("button", "note, put right"), { type: "button" });
  button.dataset.seq = one.seq;
  button.setAttribute("aria-label", `note or put right ${one.shown}`);
  const cells = [one.shown, one.meaning, one.said === one.shown ? "" : one.said || "?", one.exposure === null ? "" : `${one.exposure} ms, ${one.metres} m`, one.marks ? `${one.missed} of ${one.marks}` : "", one.note];
  made.append(...cells.map((text, place) => Object.assign(element("td", text, place === 1 ? (one.right ? "good" : "bad") : ""), { className: place === 3 || place === 4 ? "n" : "" })));
  const last = element("td");
  last.append(button);
  made.append(last);
  return made;
}

keep();
try { await clock.keep(); } catch { /* the line below tells it */ }
const source = new EventSource(address("coach-live", sheet));
source.addEventListener("open", flush);
source.addEventListener("error", () => say(false, "no connection: marks are kept here"));
source.addEventListener("news", (event) => draw(JSON.parse(event.data)));
