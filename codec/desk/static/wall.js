// The wall: lines are read while they are typed, kept until they are on the disk, and what is new is drawn as it comes.
import { charts, forget } from "./chart.js";
import { address as addressed, asking, element, told as tellAt, writer as whoWrites } from "./common.js";
import { Outbox } from "./outbox.js";
import { offers } from "./voice.js";

const cars = document.querySelector("#cars");
const { sheet, writes } = cars.dataset;
const status = document.querySelector("#line"), trouble = document.querySelector("#trouble");
const address = (page, query) => addressed(page, sheet, query);
let ahead = Number(cars.dataset.now) - Date.now(); // of the desk's clock
const sections = () => [...cars.querySelectorAll(".car")];

function say(state, words) {
  status.dataset.state = state;
  status.textContent = words;
}

// what is new

function listen() {
  const query = new URLSearchParams({ writes, seen: cars.dataset.version });
  for (const section of sections()) if (section.dataset.car) query.append("car", section.dataset.car);
  const source = new EventSource(`/live/${encodeURIComponent(sheet)}?${query}`);
  source.addEventListener("open", () => { say("on", "connected"); outbox?.send(); });
  source.addEventListener("error", () => say("off", "no connection: lines are kept here"));
  source.addEventListener("news", (event) => {
    const { boards, cars: known, now, trouble: wrong } = JSON.parse(event.data);
    ahead = now - Date.now();
    if (trouble.textContent !== wrong) trouble.textContent = wrong; // who is read to hears it once
    trouble.hidden = !wrong;
    const shown = sections().map((section) => section.dataset.car);
    if (!new URLSearchParams(location.search).has("car") && known.some((car) => !shown.includes(car))) {
      source.close();
      location.reload(); // a car more: the page is laid out anew, what is being typed is kept
      return;
    }
    for (const section of sections()) {
      const html = boards[section.dataset.car];
      if (html !== undefined) {
        const board = section.querySelector(".board");
        const before = [...board.querySelectorAll(".scroll")].map((place) => place.scrollLeft);
        forget(board);
        board.innerHTML = html;
        board.querySelectorAll(".scroll").forEach((place, number) => { place.scrollLeft = before[number] ?? 0; });
        charts(board);
      }
    }
  });
}

// lines

const KEPT = `niner-typed-${sheet}`;
let outbox = null;

const told = (section, answer) => tellAt(section.querySelector(".told"), answer);

function waiting(lines) {
  for (const section of sections()) {
    const mine = lines.filter((line) => line.car === section.dataset.car);
    section.querySelector(".sending")?.replaceChildren(
      ...mine.map((line) => element("li", line.text)),
    );
  }
}

let writer = null, voice = null;

// Take a line; return whether it was taken. It is in the browser's database before it is sent.
function enter(section, text) {
  const name = writer();
  if (!name || !text.trim()) return false;
  const car = section.dataset.car;
  outbox.add({ writer: name, car, text, sheet }).catch((error) => {
    told(section, { tone: "bad", lines: [`not kept: ${text}`, `${error}`] });
  });
  return true;
}

function look(section) {
  const input = section.querySelector("input"), place = section.querySelector(".look");
  const show = ({ tone, lines }) => {
    place.dataset.tone = tone;
    place.textContent = lines.join("\n");
  };
  const looked = (signal, how = {}) => fetch(address("look", { car: section.dataset.car, text: input.value, ...how }), { signal });
  const ask = asking(0, (signal) => {
    if (!input.value.trim()) { place.replaceChildren(); place.dataset.tone = "plain"; return null; }
    return looked(signal);
  }, show);
  // what can't be read is heard when typing rests, so that Enter need not wait for it
  const hear = asking(300, (signal) => (["warning", "bad"].includes(place.dataset.tone) ? looked(signal, { hear: "yes" }) : null), show);
  input.addEventListener("input", () => { remember(); ask(); hear(); });
}

function remember() {
  const typed = Object.fromEntries(sections().map((section) => [section.dataset.car, section.querySelector("input")?.value ?? ""]));
  sessionStorage.setItem(KEPT, JSON.stringify(typed));
}

function here() {
  return document.activeElement?.closest?.(".car") ?? sections()[0];
}

const KEYS = {
  n: (section) => enter(section, section.querySelector(".neutralised") ? "/resumed" : "/neutralised"),
  m: (section) => enter(section, "/marker"),
  o: (section) => enter(section, "/ok"),
  u: (section) => enter(section, "/undo"),
  c: (section) => enter(section, "/called"),
  r: (section) => enter(section, "/right"),
  l: () => voice.turn(),
  t: (section) => voice.take(section),
};

function keys(event) {
  if (!event.altKey || event.ctrlKey || event.metaKey) return;
  const key = event.key.toLowerCase();
  if (key >= "1" && key <= "9") {
    sections()[Number(key) - 1]?.querySelector("input")?.focus();
    event.preventDefault();
  } else if (KEYS[key]) {
    event.preventDefault();
    KEYS[key](here());
  }
}

function begin() {
  const name = document.querySelector("#writer");
  writer = whoWrites();
  const typed = JSON.parse(sessionStorage.getItem(KEPT) ?? "{}");
  for (const section of sections()) {
    const input = section.querySelector("input"), past = [];
    let place = 0;
    input.value ||= typed[section.dataset.car] ?? "";
    look(section);
    if (input.value) input.dispatchEvent(new Event("input")); // typed before this ran
    section.querySelector("form").addEventListener("submit", (event) => {
      event.preventDefault();
      if (enter(section, input.value)) {
        place = past.push(input.value);
        input.value = "";
        input.dispatchEvent(new Event("input")); // what it would be taken for is asked no more
      }
    });
    input.addEventListener("keydown", (event) => {
      const step = { ArrowUp: -1, ArrowDown: 1 }[event.key];
      if (step && place + step >= 0 && place + step <= past.length) {
        place += step;
        input.value = past[place] ?? "";
        event.preventDefault();
      }
    });
  }
  voice = offers(sheet, { enter, section_of: (car) => (car ? sections().find(({ dataset }) => dataset.car === car) : null) ?? here() });
  document.addEventListener("keydown", keys);
  cars.addEventListener("click", (event) => { // a lap to be put right
    const fix = event.target.closest(".fix"), input = fix?.closest(".car").querySelector("input");
    if (fix) { input.value = fix.dataset.fix; input.focus(); }
  });
  if (!document.activeElement?.matches("input")) (name.value ? sections()[0]?.querySelector("input") : name)?.focus();
}

// Minutes and seconds of the lap being driven, by the clock of the desk.
function laps() {
  const now = Date.now() + ahead;
  for (const time of document.querySelectorAll(".into")) {
    const seconds = Math.max(0, Math.round((now - Number(time.dataset.begun)) / 1000));
    const late = time.dataset.due && now > Number(time.dataset.due);
    time.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}${late ? " report overdue" : ""}`;
    time.classList.toggle("late", Boolean(late));
  }
}

function tick() {
  const now = new Date(Date.now() + ahead);
  laps();
  document.querySelector("#clock").textContent = now.toLocaleTimeString("en-GB");
  setTimeout(tick, 1000 - now.getMilliseconds());
}

if (writes === "yes") {
  outbox = await Outbox.open((line) => fetch(address("enter"), {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(line),
  }), waiting, (line, answer) => told(sections().find(({ dataset }) => dataset.car === line.car) ?? sections()[0], answer), sheet);
  begin();
}
tick();
charts(document);
listen();
