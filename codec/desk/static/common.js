// What the scripts of all pages use.

export const by = (id) => document.getElementById(id);

export function element(name, text = "", tone = "") {
  const made = Object.assign(document.createElement(name), { textContent: text });
  if (tone) made.dataset.tone = tone;
  return made;
}

// Tell times of day as they are here, as the wall's clock does; the desk may be elsewhere.
export function timesHere(place) {
  for (const time of place.querySelectorAll("time[data-at]")) time.textContent = new Date(Number(time.dataset.at)).toLocaleTimeString("en-GB");
}

export const address = (page, sheet, query = {}) => `/${page}/${encodeURIComponent(sheet)}?${new URLSearchParams(query)}`;

// What the desk answered: what a page of it tells, or, where its guard or something between answers, its plain words.
export async function answered(answer) {
  const text = await answer.text();
  try {
    const told = JSON.parse(text);
    if (answer.ok || Array.isArray(told.lines)) return told;
  } catch { /* no JSON: told as it is */ }
  return { tone: "bad", lines: [`${answer.status}: ${text.slice(0, 200).trim() || answer.statusText}`] };
}

// Ask when nothing was typed for a moment; what was asked before is forgotten.
export function asking(wait, ask, show) {
  let timer = 0, before = null;
  return () => {
    clearTimeout(timer);
    before?.abort();
    timer = setTimeout(async () => {
      const mine = before = new AbortController();
      try {
        const answer = await ask(mine.signal);
        if (!answer) return;
        const told = await answered(answer);
        if (!mine.signal.aborted) show(told, answer.ok);
      } catch (error) {
        if (error.name !== "AbortError") show({ tone: "bad", lines: ["the desk does not answer"] }, false);
      }
    }, wait);
  };
}

export function refused(place, { lines }) {
  place.dataset.tone = "warning";
  place.replaceChildren(...lines.map((line) => element("p", line)));
}

export function told(place, { tone, lines }) {
  place.dataset.tone = tone;
  place.replaceChildren(...lines.map((line) => element("p", line)));
}

// Who writes: kept in the browser; what was typed before this runs stays. The field is pointed at where a name is wanted.
export function writer() {
  const field = by("writer");
  field.value ||= localStorage.getItem("niner-writer") ?? "";
  const keep = () => localStorage.setItem("niner-writer", field.value.trim());
  field.addEventListener("change", keep);
  return () => {
    const name = field.value.trim();
    field.classList.toggle("wanted", !name);
    if (name) keep(); else field.focus();
    return name;
  };
}
