// What is spoken is played once, and what was heard is written down; times count from the end of the sound.
import { address, answered, by, element, told as tellAt } from "./common.js";
import { drawClosing } from "./closing.js";
import { played, sound } from "./sounds.js";

const main = by("listen"), { sheet } = main.dataset;
const key = crypto.getRandomValues(new Uint32Array(4)).join("-");
let audio = null, state = null, ended = null, first = null, playing = null;

async function act(name, more = {}) {
  const answer = await fetch(address("listen-act", sheet), { method: "POST", body: JSON.stringify({ act: name, key, ...more }) });
  const told = await answered(answer);
  if (!answer.ok) throw new Error(told.lines.join(" "));
  tellAt(by("told"), { tone: "good", lines: [] });
  return told;
}

const failed = (error) => tellAt(by("told"), { tone: "bad", lines: [error instanceof TypeError ? "no connection: what is written stays here; press Enter again" : error.message] });

async function play(turn) {
  by("stage").textContent = "listen …";
  const samples = await sound(audio, address("listen-sound", sheet, { key, turn }));
  playing?.stop();
  const { source, meter } = played(audio, samples);
  main.meter = meter;
  ended = null;
  source.addEventListener("ended", () => {
    if (playing !== source) return;
    ended = performance.now();
    by("stage").textContent = "write it down";
  });
  playing = source;
}

async function show(told) {
  state = told;
  by("begin").hidden = !told.over;
  by("hearing").hidden = told.over;
  by("closing").hidden = !told.over || !told.closing;
  if (told.went) went(told.went);
  if (told.over) {
    playing?.stop();
    if (told.closing) drawClosing(by("closing"), told.closing, `${told.radio} s of radio`);
    return;
  }
  by("progress").textContent = `${told.number} of ${told.of}; noise: ${told.noise}; ${told.radio} s of radio so far${told.reports > 1 ? `; ${told.reports} reports, the first one first` : ""}`;
  by("price").textContent = `${told.seconds} s of radio`;
  by("heard").value = "";
  by("heard").focus();
  if (show.turn !== told.turn) { first = null; show.turn = told.turn; await play(told.turn); }
}
show.turn = 0;

function went(one) {
  by("written").hidden = false;
  const row = element("tr");
  row.append(element("td", one.shown), element("td", one.meaning, one.right ? "good" : "bad"), element("td", one.said === one.shown ? "" : one.said), element("td", one.words));
  by("went").prepend(row);
}

by("begin").addEventListener("submit", async (event) => {
  event.preventDefault();
  audio ??= new AudioContext();
  await audio.resume();
  const form = Object.fromEntries(new FormData(by("begin")));
  by("went").replaceChildren();
  show.turn = 0;
  try { await show(await act("begin", { ...form, under: "under" in form })); } catch (error) { failed(error); }
});

by("heard").addEventListener("input", () => { first ??= ended === null ? 0 : (performance.now() - ended) / 1000; });

let writing = false;
by("write").addEventListener("submit", async (event) => {
  event.preventDefault();
  const text = by("heard").value.trim();
  if (!text || writing) return;
  writing = true;
  const done = ended === null ? 0 : (performance.now() - ended) / 1000;
  try {
    const told = await act("answer", { number: state.number, text, first, done });
    writing = false; // what comes next may be begun while it is spoken
    first = null;
    await show(told);
  } catch (error) { failed(error); } finally { writing = false; }
});

async function again() {
  if (by("hearing").hidden) return;
  try {
    const told = await act("again"), typed = by("heard").value;
    await show(told);
    by("heard").value = typed;
  } catch (error) { failed(error); }
}
by("again").addEventListener("click", again);
addEventListener("keydown", (event) => { if (event.altKey && event.key.toLowerCase() === "a") { event.preventDefault(); again(); } });

main.dataset.state = "on";
