// Everything written: entries are put right and taken back by keys, and what is new is drawn as it comes.
import { address, answered, by, timesHere, told } from "./common.js";
import { fixing, roving } from "./fixing.js";

const { sheet, writes, version } = by("history").dataset;
const entries = by("entries");
const rows = () => [...entries.querySelectorAll("tr.entry-line")];
const stops = (row) => [...row.querySelectorAll("button")];
const row = (target) => target.closest?.("tr.entry-line");

let drawing = null, again = false;
async function draw() {
  if (drawing) { again = true; return; }
  const begun = performance.now();
  drawing = fetch(location.href, { headers: { accept: "text/html" } });
  try {
    const answer = await drawing;
    if (answer.ok) put(new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("entries"));
  } catch { /* the desk is away: what is new comes when it is back */ }
  // to search a long sheet is work: the desk has four times as long for all else
  const rest = Math.min(10_000, 4 * (performance.now() - begun));
  setTimeout(() => { drawing = null; if (again) { again = false; draw(); } }, rest);
}

// Put in the entries as they are now, and keep the focus where it was.
function put(fresh) {
  const held = row(document.activeElement), seq = held?.dataset.seq, place = held ? stops(held).indexOf(document.activeElement) : 0;
  timesHere(fresh);
  entries.replaceChildren(...fresh.childNodes);
  const same = seq && rows().find((one) => one.dataset.seq === seq);
  if (same) (stops(same)[place] ?? stops(same)[0]).focus();
}

// Play the stretch of the recording that an entry was heard in; what was played before stops.
let speaker = null, playing = null;
async function play(seq) {
  const tell = (tone, ...lines) => told(document.querySelector(".told"), { tone, lines });
  speaker ??= new AudioContext();
  playing?.stop();
  playing = null;
  try {
    const answer = await fetch(address("sound", sheet, { entry: seq }));
    if (!answer.ok) { told(document.querySelector(".told"), await answered(answer)); return; }
    const source = new AudioBufferSourceNode(speaker, { buffer: await speaker.decodeAudioData(await answer.arrayBuffer()) });
    source.connect(speaker.destination);
    playing?.stop();
    playing = source;
    source.start();
    tell("plain", `entry ${seq}: ${source.buffer.duration.toFixed(1)} s of its recording`);
  } catch { tell("bad", "it can't be played: the desk does not answer, or no sound can be made here"); }
}

let put_right = null;
function act(name, { seq, car, typed, withdraw, whose }) {
  if (name === "play") play(seq);
  if (name === "fix" && typed !== undefined) put_right.fix(seq, car, typed, whose === "yes");
  if (name === "withdraw" && withdraw) put_right.send(car, `/withdraw ${withdraw}`);
}

if (writes === "yes") {
  put_right = await fixing(sheet, draw);
  roving(entries, rows, stops);
  entries.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button) act(button.dataset.act ?? "fix", row(button).dataset);
  });
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || put_right.open() || event.target.matches("input")) return;
    const name = { f: "fix", p: "play", w: "withdraw" }[event.key.toLowerCase()], held = row(document.activeElement);
    if (name && held) { event.preventDefault(); act(name, held.dataset); }
    if (event.key === "ArrowDown" && !held && rows().length) { event.preventDefault(); stops(rows()[0])[0].focus(); }
  });
}
document.addEventListener("keydown", (event) => {
  if (event.key === "/" && !event.target.matches("input")) { event.preventDefault(); by("search").focus(); }
});
const source = new EventSource(address("live", sheet, { quiet: "", seen: version }));
source.addEventListener("news", draw);
source.addEventListener("open", () => put_right?.again());
timesHere(entries);
by("history").dataset.state = "on";
