// Entries put right by their numbers, as lines of the live log: `/fix 12 words`, `/withdraw 12`. They are kept and sent as the wall's lines are.
import { address, asking, by, element, told, writer } from "./common.js";
import { Outbox } from "./outbox.js";

// `done` is called with a line that was written or refused for good, and whether it was written.
export async function fixing(sheet, done) {
  const name = writer(), dialog = by("fixing"), words = by("fixing-words"), look = by("fixing-look");
  const whose = by("fixing-whose"), car_of = () => (whose.hidden ? of.car : by("fixing-car").value);
  let of = null; // the entry that is being fixed: its number, and its car
  const show = (lines) => document.querySelector(".sending").replaceChildren(...lines.map(({ text }) => element("li", text)));
  const heard = (line, answer, written) => {
    told(document.querySelector(".told"), answer);
    if (written !== undefined) done(line, written && answer.tone !== "bad");
  };
  const outbox = await Outbox.open((line) => fetch(address("enter", sheet), {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(line),
  }), show, heard, sheet);

  function send(car, text) {
    const from = name();
    if (from) outbox.add({ writer: from, car, text, sheet });
    return Boolean(from);
  }

  words.addEventListener("input", asking(80, (signal) => {
    look.replaceChildren();
    return words.value.trim() && fetch(address("look", sheet, { car: car_of(), text: `/fix ${of.number} ${words.value}` }), { signal });
  }, (found) => { look.dataset.tone = found.tone; look.textContent = found.lines.join("  "); }));
  dialog.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    if (!words.value.trim()) return;
    dialog.close();
    send(car_of(), `/fix ${of.number} ${words.value}`);
  });
  by("fixing-leave").addEventListener("click", () => dialog.close());

  return {
    send,
    open: () => dialog.open,
    // `unknown`: it is of a car, and nobody knows which.
    fix(number, car, typed, unknown) {
      of = { number, car };
      whose.hidden = !unknown;
      by("fixing-car").required = Boolean(unknown);
      by("fixing-car").value = "";
      by("fixing-title").textContent = `Entry ${number}${car ? `, car ${car}` : ""}`;
      words.value = typed;
      look.replaceChildren();
      dialog.showModal();
      words.select();
    },
    again: () => outbox.send(),
  };
}

// Move the one stop of the Tab key among rows to the one that has the focus, and with the arrows from row to row.
export function roving(place, rows, stops) {
  const move = (row) => {
    for (const one of rows()) for (const stop of stops(one)) stop.tabIndex = one === row ? 0 : -1;
  };
  place.addEventListener("focusin", (event) => { const row = rows().find((one) => one.contains(event.target)); if (row) move(row); });
  place.addEventListener("keydown", (event) => {
    const step = { ArrowUp: -1, ArrowDown: 1 }[event.key], listed = rows();
    const at = listed.findIndex((one) => one.contains(event.target));
    if (!step || at < 0 || !listed[at + step]) return;
    event.preventDefault();
    stops(listed[at + step])[0].focus();
  });
}
