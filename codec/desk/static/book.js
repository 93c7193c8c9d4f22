// The book tried out: everything is asked for as it is typed, and only the last answer counts.
import { asking, by, element, refused } from "./common.js";

const { of, sheet } = by("book").dataset;
const address = (what, query) => `/book/${encodeURIComponent(sheet)}/${what}?${new URLSearchParams(query)}${of ? `&${of}` : ""}`;

function shown(place, { message, string, words, seconds, values, rounded }) {
  const head = element("p", "");
  head.append(element("strong", string), ` ${words}`, element("small", `  ${message}, ${seconds} s`));
  const list = document.createElement("dl");
  for (const { name, value, warnings } of values) {
    list.append(element("dt", name), element("dd", [value, ...warnings].join("  ! "), warnings.length ? "bad" : ""));
  }
  place.append(head, list, ...Object.entries(rounded ?? {}).map(([name, by]) => element("p", `${name} rounded by ${by}`)));
}

const hearAgain = asking(150, (signal) => by("text").value.trim() && fetch(address("noise", {
  text: by("text").value, decibels: by("noise").value, seed: by("again").dataset.seed ?? 1 }), { signal }), (found, fine) => {
  by("heard").replaceChildren(...(fine ? found : []).map(({ words, verdict, told, tone }) => {
    const row = document.createElement("tr");
    row.append(element("td", words), element("td", `${verdict}: ${told}`, tone));
    return row;
  }));
});

const readAgain = asking(80, (signal) => {
  if (!by("text").value.trim()) { by("meaning").replaceChildren(); by("heard").replaceChildren(); return null; }
  return fetch(address("read", { text: by("text").value }), { signal });
}, (found, fine) => {
  by("meaning").replaceChildren();
  if (!fine) { by("heard").replaceChildren(); refused(by("meaning"), found); return; }
  by("meaning").dataset.tone = "good";
  for (const reading of found.readings) shown(by("meaning"), reading);
  by("meaning").append(...found.events.map((event) => element("p", event)));
  if (found.readings.length === 1) { fill(found.readings[0]); hearAgain(); }
});

// Put what was read into the form beside it, to be changed there.
function fill({ name, values }) {
  choose(name);
  for (const { field, text } of values) {
    const input = form().elements.namedItem(`field.${field}`);
    if (input) input.value = text;
  }
  sayAgain();
}

const form = () => document.querySelector(`form.values[data-message="${CSS.escape(by("message").value)}"]`);
const sayAgain = asking(80, (signal) => {
  const values = new URLSearchParams(new FormData(form()));
  if (![...values.values()].some((value) => value.trim())) { by("said").replaceChildren(); by("dash").textContent = "\u00a0"; return null; }
  values.set("message", by("message").value);
  return fetch(address("say", values), { signal });
}, (found, fine) => {
  by("said").replaceChildren();
  by("dash").textContent = fine ? found.string : "\u00a0";
  if (fine) { by("said").dataset.tone = "good"; shown(by("said"), found); } else refused(by("said"), found);
});

const checkAgain = asking(500, (signal) => fetch(address("problems", {}), {
  method: "POST", body: by("source").value, signal }), (found, fine) => {
  const place = by("problems");
  if (!fine) { refused(place, found); return; }
  place.dataset.tone = found.length ? "bad" : "good";
  place.replaceChildren(...(found.length ? found.map(({ text }) => element("pre", text)) : [element("p", "in order, and unambiguous")]));
});

function choose(message) {
  by("message").value = message;
  for (const one of document.querySelectorAll("form.values")) one.hidden = one !== form();
}

by("text").addEventListener("input", readAgain);
by("noise").addEventListener("input", () => { by("decibels").textContent = `${by("noise").value} dB`; hearAgain(); });
by("again").addEventListener("click", () => { by("again").dataset.seed = Number(by("again").dataset.seed ?? 1) + 1; hearAgain(); });
by("message").addEventListener("change", () => { choose(by("message").value); sayAgain(); });
for (const one of document.querySelectorAll("form.values")) {
  one.addEventListener("input", sayAgain);
  one.addEventListener("submit", (event) => event.preventDefault());
}
by("source").addEventListener("input", checkAgain);
by("book").dataset.state = "on";
