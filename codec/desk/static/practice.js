// Practising the wheel: touches by keys, by fingers, or by a real wheel that the browser knows as a gamepad.
import { address, answered, by, element, told } from "./common.js";
import { played, sound } from "./sounds.js";

const main = by("practice"), { sheet, digest } = main.dataset;
const keys = new Map(JSON.parse(main.dataset.keys));
const key = crypto.getRandomValues(new Uint32Array(4)).join("-");
const IN_TIME = 1500, KEPT = `niner-wheel-${digest}`;
let shown = null, touches = [], marks = [], reactions = {}, pressed = new Set(), learning = null;
let audio = null, call = null, playing = null;
let pads = JSON.parse(localStorage.getItem(KEPT) ?? "{}");

async function send(act, more = {}) {
  const answer = await fetch(address("practice-act", sheet), { method: "POST", body: JSON.stringify({ act, key, ...more }) });
  const facts = await answered(answer);
  if (!answer.ok) throw new Error(facts.lines.join(" "));
  return facts;
}

function failed(error) {
  const words = `${error.message}; ${touches.length ? "Enter sends it again" : "begin again"}`;
  if (by("making").hidden) by("refused").textContent = words;
  else told(by("told"), { tone: "bad", lines: [words] });
}

function ask({ words, marks: times, dash, turn }) {
  by("begin").hidden = true;
  by("making").hidden = false;
  by("told").replaceChildren();
  by("refused").textContent = "";
  [touches, marks, reactions, shown] = [[], times, {}, turn ? null : performance.now()];
  by("wanted").textContent = by("call").value === "heard" ? "listen …" : words;
  by("dash").textContent = dash;
  by("again").hidden = !turn;
  main.dataset.making = "yes";
  if (turn) hear(turn).catch(failed);
}

// The call is said; times count from its end, and who begins before it begins at once.
async function hear(turn) {
  call = await sound(audio, address("practice-sound", sheet, { key, turn }));
  shown = performance.now() + 1000 * say();
}

function say() {
  playing?.stop();
  const { source, meter } = played(audio, call);
  [playing, main.meter, main.dataset.said] = [source, meter, "yes"];
  return call.duration;
}

function again() {
  if (shown === null || !call) return;
  say();
  send("again").catch(failed);
}

const since = (now) => (now - shown) / 1000;

function touch(name, now) {
  if (shown === null) return;
  touches.push([name, Math.max(0, since(now))]);
  const mine = touches;
  send("touched", { touches }).then(({ dash }) => { if (mine === touches) by("dash").textContent = dash; }).catch(failed);
}

async function done(now) {
  if (shown === null) { if (main.dataset.making) send("ask").then(ask).catch(failed); return; }
  const at = Math.max(since(now), touches.at(-1)?.[1] ?? 0);
  try {
    const facts = await send("done", { touches, reactions, at });
    shown = null;
    by("wanted").textContent = facts.words;
    told(by("told"), { tone: facts.outcome === "right" ? "good" : facts.outcome === "corrected" ? "warning" : "bad", lines: [...facts.told.split("\n"), "Enter: the next"] });
    by("scores").hidden = false;
    by("scores").tBodies[0].replaceChildren(...facts.scores.map(([name, ...counts]) => {
      const row = element("tr");
      row.append(Object.assign(element("th", name), { scope: "row" }), ...counts.map((count) => Object.assign(element("td", count), { className: "n" })));
      return row;
    }));
  } catch (error) { failed(error); }
}

// the second task

const lit = (now) => (shown === null ? -1 : marks.findIndex((time, place) => !(place in reactions) && since(now) >= time && since(now) <= time + IN_TIME / 1000));

function brake(now) {
  const on = lit(now);
  if (on >= 0) reactions[on] = since(now) - marks[on];
}

// what is pressed

addEventListener("keydown", (event) => {
  if (event.altKey && event.key.toLowerCase() === "a") { event.preventDefault(); again(); return; }
  if (event.target.matches("input, select") || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "Enter" && !event.target.matches("button, a")) { event.preventDefault(); done(event.timeStamp); }
  else if (event.key === " " && !event.target.matches("button")) { event.preventDefault(); brake(event.timeStamp); }
  else if (keys.has(event.key)) { event.preventDefault(); touch(keys.get(event.key), event.timeStamp); }
});
by("touches")?.addEventListener("pointerdown", (event) => {
  const name = event.target.closest("button")?.dataset.touch;
  if (name) touch(name, event.timeStamp);
});
by("pedal")?.addEventListener("pointerdown", (event) => brake(event.timeStamp));
by("again")?.addEventListener("click", (event) => { again(); event.target.closest("button").blur(); });
by("done")?.addEventListener("click", (event) => { done(event.timeStamp); event.target.closest("button").blur(); });

// Every button and every end of an axis of a gamepad has a name; which touch it is, is learnt by pressing each control once.
function* held() {
  for (const pad of navigator.getGamepads?.() ?? []) {
    if (!pad) continue;
    for (const [number, button] of pad.buttons.entries()) if (button.pressed || button.value > 0.5) yield `button ${number}`;
    for (const [number, value] of pad.axes.entries()) if (Math.abs(value) > 0.6) yield `axis ${number} ${value > 0 ? "+" : "-"}`;
  }
}

function learnt(name) {
  if (Object.hasOwn(pads, name)) return;
  pads[name] = learning.shift();
  if (learning.length) { by("learning").textContent = `press: ${learning[0]}`; return; }
  learning = null;
  localStorage.setItem(KEPT, JSON.stringify(pads));
  by("learning").textContent = "every control is known";
}

by("learn")?.addEventListener("click", () => {
  pads = {};
  learning = [...keys.values(), "brake"];
  by("learning").textContent = `press: ${learning[0]}`;
});

function frame(now) {
  const holds = new Set(held());
  for (const name of holds) {
    if (pressed.has(name)) continue;
    if (learning) learnt(name);
    else if (pads[name] === "brake") brake(now);
    else if (pads[name]) touch(pads[name], now);
  }
  pressed = holds;
  if (by("mark")) by("mark").dataset.on = lit(now) < 0 ? "no" : "yes";
  requestAnimationFrame(frame);
}

by("begin")?.addEventListener("submit", (event) => {
  event.preventDefault();
  const heard = by("call").value !== "shown";
  if (heard) { audio ??= new AudioContext(); audio.resume(); }
  send("begin", { person: by("person").value, second_task: by("second").checked, heard }).then((facts) => { document.activeElement?.blur(); ask(facts); }).catch(failed);
});
if (by("ready")) by("ready").disabled = false;
requestAnimationFrame(frame);
main.dataset.state = "on";
