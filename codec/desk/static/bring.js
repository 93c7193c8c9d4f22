// A file is sent whole, and what it brought is told; then what needs a look is worked off, one key each.
import { address, answered, by, element } from "./common.js";
import { fixing, roving } from "./fixing.js";

const { sheet } = by("import").dataset;
const list = by("doubtful");
const items = () => [...list.children];

function told(found, fine) {
  const place = by("brought");
  place.dataset.tone = fine ? "good" : "bad";
  if (!fine) { place.replaceChildren(...found.lines.map((line) => element("p", line))); return; }
  const written = Object.entries(found.written).map(([kind, count]) => `${count} of kind ${kind}`).join(", ") || "nothing new";
  place.replaceChildren(element("p", `written: ${written}`), element("p", `there already: ${found.there}; need a look: ${found.refused}`));
  for (const { reason, count, lines } of found.left_out) {
    const more = document.createElement("details");
    more.append(element("summary", `left out: ${count}, ${reason}`), ...lines.map((line) => element("p", line)));
    place.append(more);
  }
}

// what needs a look

let cars = [];
let asked = 0; // how often it was asked for: only the last answer counts
async function look(after = 0) {
  const mine = ++asked;
  const answer = await fetch(address("doubtful", sheet, { after }));
  const found = await answered(answer);
  if (mine !== asked) return;
  if (!answer.ok) { by("doubtful-state").textContent = found.lines.join(" "); return; }
  ({ cars } = found);
  if (!after) list.replaceChildren();
  list.append(...found.doubtful.map(item));
  if (items().length && !items().some((one) => one.tabIndex === 0)) items()[0].tabIndex = 0;
  if (found.more) look(found.doubtful.at(-1).entry); else say();
}

function say() {
  const count = items().length;
  by("doubtful-state").textContent = count ? `${count} of the reports do not count yet` : "nothing needs a look";
}

function item({ entry, car, lap, speaker, heard, why, readings }) {
  const made = element("li");
  Object.assign(made.dataset, { entry, car, heard });
  made.tabIndex = -1;
  const head = element("p", `#${entry} `);
  head.append(Object.assign(element("strong", car ? `car ${car}` : "whose?"), { className: "whose" }), `${lap === null ? "" : `, lap ${lap}`}  ${speaker}`);
  made.append(head, element("p", heard), element("p", why));
  made.children[1].className = "heard";
  made.children[2].className = "quiet";
  readings.forEach(({ string, words, sure }, place) => {
    const take = element("button");
    take.type = "button";
    take.tabIndex = -1;
    take.dataset.take = string;
    take.append(element("kbd", `${place + 1}`), ` ${string}  ${words}`, element("small", `  ${sure}`));
    made.append(take);
  });
  const acts = element("p");
  for (const [key, act, name] of [["F", "fix", "fix it"], ["W", "withdraw", "no report"], ...(car ? [] : [["C", "car", "whose it is"]])]) {
    const button = element("button");
    Object.assign(button, { type: "button", tabIndex: -1 });
    button.dataset.act = act;
    button.append(element("kbd", key), ` ${name}`);
    acts.append(button);
  }
  made.append(acts);
  return made;
}

function act(one, button) {
  const { entry, car, heard } = one.dataset;
  if (button.dataset.act === "car") { choose(one); return; }
  if (button.dataset.act === "fix") { put_right.fix(entry, car, heard, !car); return; }
  if (!car && button.dataset.take) { one.querySelector('[data-act="car"]').classList.add("wanted"); return; }
  const line = button.dataset.take ? `/accept ${entry} ${button.dataset.take}` : `/withdraw ${entry}`;
  if (put_right.send(car, line)) one.dataset.state = "sent";
}

// The next of the cars it may be of: nobody knows whose it is.
function choose(one) {
  one.dataset.car = cars[(cars.indexOf(one.dataset.car) + 1) % cars.length] ?? "";
  one.querySelector(".whose").textContent = `car ${one.dataset.car}`;
}

// A line that was written takes its report from the list, and the next one has the focus.
function done({ text }, written) {
  const number = text.split(" ")[1], one = items().find(({ dataset }) => dataset.entry === number);
  if (!one) return;
  delete one.dataset.state;
  if (!written) return;
  const next = one.nextElementSibling ?? one.previousElementSibling, held = one.contains(document.activeElement) || document.activeElement === document.body;
  one.remove();
  if (next) { next.tabIndex = 0; if (held) next.focus(); }
  say();
}

const put_right = await fixing(sheet, done);
roving(list, items, (one) => [one]);
list.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button) act(button.closest("li"), button);
});
list.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const one = event.target.closest("li"), key = event.key.toLowerCase();
  const button = key >= "1" && key <= "9" ? one?.querySelectorAll("[data-take]")[Number(key) - 1] : one?.querySelector(`[data-act="${{ f: "fix", w: "withdraw", c: "car" }[key]}"]`);
  if (button) { event.preventDefault(); act(one, button); }
});

by("bring").addEventListener("submit", async (event) => {
  event.preventDefault();
  const [file] = by("file").files, writer = by("writer").value.trim();
  if (!writer) { by("writer").classList.add("wanted"); by("writer").focus(); return; }
  const query = new URLSearchParams({ writer, name: file.name });
  for (const line of by("crews").value.split("\n")) if (line.trim()) query.append("crew", line);
  by("brought").replaceChildren(element("p", `${file.name} is being read …`));
  try {
    const answer = await fetch(`/import/${encodeURIComponent(sheet)}?${query}`, { method: "POST", body: file });
    told(await answered(answer), answer.ok);
    if (answer.ok) { await look(); items()[0]?.focus(); }
  } catch (error) {
    told({ lines: [`${file.name} did not reach the desk: ${error}`] }, false);
  }
});

document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  event.preventDefault();
  if (event.dataTransfer.files.length) by("file").files = event.dataTransfer.files;
});
look();
by("import").dataset.state = "on";
