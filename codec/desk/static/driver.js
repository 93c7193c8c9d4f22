// The driver's device: it flashes what it is told at the desk's time, frame by frame, and tells how long each really stayed.
import { address, answered, by } from "./common.js";
import { Clock } from "./clock.js";
import { Voice } from "./voice.js";

const main = by("driver"), { sheet } = main.dataset;
const clock = new Clock(address("drill-time", sheet));
const key = crypto.getRandomValues(new Uint32Array(4)).join("-");
const WARNED = 600, BEAT = 4000, IN_TIME = 1500;
let frame = 16.7, state = {}, flash = null, awake = null, done = "";

function send(act, more = {}) {
  return fetch(address("driver-act", sheet), {
    method: "POST", keepalive: true,
    body: JSON.stringify({ act, key, visible: !document.hidden, error: clock.error / 1000, frame: frame / 1000, ...more }),
  });
}

async function here(over = false) {
  const told = await answered(await send("here", { over }));
  if (told.seat === undefined) throw new Error(told.lines.join(" "));
  return told.seat;
}

// Frames of the screen: the middle of the times between forty of them.
function frames() {
  return new Promise((resolve) => {
    const times = [];
    const next = (now) => {
      times.push(now);
      if (times.length < 41) { requestAnimationFrame(next); return; }
      const steps = times.slice(1).map((time, place) => time - times[place]).sort((a, b) => a - b);
      resolve(steps[20]);
    };
    requestAnimationFrame(next);
  });
}

// what the dash shows, as large as the screen allows: drawn by the desk as the book says

function draw(picture) {
  by("flash").innerHTML = picture;
}

function show(what) {
  by("flash").dataset.show = what;
  if (what === "nothing") by("flash").replaceChildren();
}

function begin({ number, flash: turn, picture, mask, ground, colour, show_at, exposure, marks }) {
  if (done === `${number} ${turn}`) return;
  done = `${number} ${turn}`;
  Object.assign(by("flash").style, { background: ground, color: colour });
  flash = { number, picture, mask, due: clock.here(show_at), exposure: exposure * 1000, marks, answered: {}, shown: null, gone: null, last: null, broken: false };
  requestAnimationFrame(step);
}

function step(now) {
  const mine = flash;
  if (!mine) return;
  if (mine.last !== null && mine.shown !== null && mine.gone === null && now - mine.last > 150) mine.broken = true;
  mine.last = now;
  if (mine.shown === null) {
    if (now >= mine.due) { mine.shown = now; draw(mine.picture); show("string"); }
    else if (now >= mine.due - WARNED) { by("flash").textContent = "+"; show("soon"); }
  } else if (mine.gone === null && now - mine.shown >= mine.exposure - frame / 2) {
    mine.gone = now;
    draw(mine.mask);
    show("mask");
    tell(mine);
    if (state.alone) { by("alone").hidden = false; by("answer").value = ""; by("answer").focus(); }
  }
  braking(mine, now);
  if (flash === mine && (mine.gone === null || now - mine.shown < (mine.marks.at(-1) ?? 0) * 1000 + IN_TIME + 100)) requestAnimationFrame(step);
}

async function tell(mine) {
  const took = mine.broken || document.hidden ? -1 : (mine.gone - mine.shown) / 1000;
  const told = { number: mine.number, at: clock.desk(mine.shown + frame), took: took < 0 ? undefined : took, reactions: mine.answered };
  for (let wait = 200; flash === mine; wait = Math.min(3000, wait * 2)) {
    try { await send("seen", told); return; } catch { await new Promise((resolve) => { setTimeout(resolve, wait); }); }
  }
}

// the second task

function lit(mine, now) {
  if (mine.shown === null) return -1;
  return mine.marks.findIndex((time, place) => !(place in mine.answered) && now - mine.shown >= time * 1000 && now - mine.shown <= time * 1000 + IN_TIME);
}

function braking(mine, now) {
  const on = lit(mine, now);
  by("mark").dataset.on = on < 0 ? "no" : "yes";
  const pads = navigator.getGamepads?.() ?? [];
  const pressed = [...pads].some((pad) => pad?.buttons.some((button) => button.pressed || button.value > 0.5));
  if (pressed && !braking.before) brake(now);
  braking.before = pressed;
}
braking.before = false;

function brake(now) {
  const mine = flash, on = mine ? lit(mine, now) : -1;
  if (on < 0) return;
  mine.answered[on] = (now - mine.shown) / 1000 - mine.marks[on];
  by("mark").dataset.on = "no";
  if (mine.gone !== null) tell(mine);
}

addEventListener("keydown", (event) => {
  if (event.key.toLowerCase() === "b" && event.target !== by("answer")) { event.preventDefault(); brake(event.timeStamp); }
});
by("pedal").addEventListener("pointerdown", (event) => brake(event.timeStamp));

by("alone").addEventListener("submit", async (event) => {
  event.preventDefault();
  const text = by("answer").value.trim();
  if (!text || !flash) return;
  try {
    const answer = await send("answer", { number: flash.number, text, at: clock.desk(event.timeStamp) });
    const told = await answered(answer);
    by("refused").textContent = answer.ok ? "" : told.lines.join(" ");
    by("alone").hidden = answer.ok;
  } catch { by("refused").textContent = "no connection: press Enter again"; }
});

// a driver who is alone and reads aloud: what was said is marked by the desk where that is sure; else it is said again, or typed

const voice = new Voice(by("voice"), {
  whole: true,
  ask: (query, when) => {
    if (!when) return address("driver-hear", sheet);
    if (!flash || flash.shown === null || when.ended < flash.shown) return ""; // nothing was asked
    return address("driver-hear", sheet, { ...query, first: clock.desk(when.began), last: clock.desk(when.ended), key, number: flash.number });
  },
  heard: ({ heard, marked, right, lines }) => {
    const words = lines ? lines.join(" ") : `heard: ${heard || "no word"}`;
    by("voice-heard").textContent = lines ? words : marked ? `${words}: ${marked}` : `${words}. Not sure: say it again, or type it`;
    by("voice-heard").dataset.tone = marked && right ? "good" : "warning";
    if (marked) by("alone").hidden = true;
  },
  state: (words, tone) => { by("voice-told").textContent = words; by("voice-told").dataset.tone = tone; },
});

function listens(told, before) {
  const wanted = Boolean(told.voice && told.held && told.seat);
  by("voice").hidden = !wanted;
  by("voice-kept").textContent = told.keeps
    ? "What you say goes to this desk alone and is kept in the journal with your answers; niner drill delete takes it out."
    : "What you say goes to this desk alone, is heard there and forgotten: no sound is kept.";
  if (!wanted && voice.on) voice.end();
  if (wanted && !(before.voice && before.held)) { by("voice-heard").textContent = ""; voice.begin(); }
}

// the lap

const outline = document.querySelector("#circuit polygon");
for (const [from, to] of JSON.parse(by("circuit").dataset.straights)) {
  const whole = outline.getTotalLength(), line = document.createElementNS("http://www.w3.org/2000/svg", "polyline");
  const places = Array.from({ length: 24 }, (_, n) => outline.getPointAtLength(whole * (from + (to - from) * n / 23)));
  line.setAttribute("points", places.map(({ x, y }) => `${x},${y}`).join(" "));
  by("straights").append(line);
}
setInterval(() => {
  if (!state.lap || !state.held) return;
  const place = ((clock.desk(performance.now()) - state.lap.from) / state.lap.seconds) % 1;
  const { x, y } = outline.getPointAtLength(outline.getTotalLength() * Math.max(0, place));
  by("car").setAttribute("cx", x);
  by("car").setAttribute("cy", y);
}, 50);

// what the desk tells

function say(words) { by("state").textContent = words; }

function news(told) {
  const before = state;
  state = told;
  by("circuit").toggleAttribute("hidden", !told.lap);
  listens(told, before);
  if (!told.seat) { leave(told.taken ? "another device has the driver’s seat" : "the desk began again"); return; }
  if (told.over || !told.held) {
    flash = null;
    show("nothing");
    by("alone").hidden = true;
    say(told.over ? `over: ${told.over}` : "waiting for the coach");
    if (told.over && before.held) { leave(`over: ${told.over}`); }
    return;
  }
  say(`${told.person}: ${told.number ?? 0} of ${told.of ?? ""}`);
  if (told.stage === "shown") begin(told);
}

function leave(words) {
  flash = null;
  if (voice.on) voice.end();
  state = { ...state, voice: false };
  show("nothing");
  by("seat").hidden = true;
  by("gate").hidden = false;
  by("gate-told").textContent = words;
  by("ready").textContent = state.taken ? "I am not driving: take the seat over" : "I am not driving: begin";
  source?.close();
  source = null;
  clearInterval(beats);
}

let source = null, beats = 0;

async function sit() {
  try {
    await clock.measure();
    if (!await here(Boolean(state.taken))) { state = { taken: true }; leave("another device has the driver’s seat; is it yours?"); return; }
  } catch (error) { by("gate-told").textContent = `the desk does not answer: ${error.message}`; return; }
  by("gate").hidden = true;
  by("seat").hidden = false;
  by("gate-told").textContent = "";
  say("waiting for the coach");
  awake = await navigator.wakeLock?.request("screen").catch(() => null);
  source = new EventSource(address("driver-live", sheet, { key }));
  source.addEventListener("open", () => here().catch(() => {}));
  source.addEventListener("news", (event) => news(JSON.parse(event.data)));
  source.addEventListener("error", () => say("no connection: what was answered is kept, and the question comes again"));
  clearInterval(beats);
  beats = setInterval(() => here().catch(() => {}), BEAT);
}

by("ready").addEventListener("click", sit);
document.addEventListener("visibilitychange", async () => {
  if (!source) return;
  here().catch(() => {});
  if (!document.hidden && awake?.released) awake = await navigator.wakeLock?.request("screen").catch(() => null);
});
addEventListener("pagehide", () => { if (source) send("here", { visible: false }); });

show("nothing");
by("mark").dataset.on = "no";
frame = await frames();
try { await clock.keep(); } catch { /* measured again when the seat is taken */ }
by("ready").disabled = false;
main.dataset.state = "on";
