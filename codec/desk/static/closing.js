// What a session came to: a few lines and one picture.
import { element } from "./common.js";

export function drawClosing(place, closing, over) {
  const list = (title, lines) => {
    const part = element("div");
    part.append(element("h3", title), Object.assign(element("ul"), { className: "short" }));
    part.lastChild.append(...lines.map((line) => element("li", line)));
    return part;
  };
  const needed = Object.entries(closing.exposures).map(([kind, one]) => `nine in ten ${kind} right at ${one.seconds.toFixed(2)} s (${one.low.toFixed(2)} … ${one.high.toFixed(2)}), ${one.answers} flashes`);
  const { next } = closing, last = closing.sessions.at(-1);
  const parts = [["Better", closing.better], ["Weak", closing.weak], ["The price of looking", [...closing.cost, ...needed]], ["Next", [`${next.day}${next.exposure ? `, ${Math.round(next.exposure * 1000)} ms` : ""}: ${next.why}`]]];
  place.replaceChildren(element("h2", `${closing.person}: ${last.right} of ${last.asked} right; ${over}`), ...parts.filter(([, lines]) => lines.length).map(([title, lines]) => list(title, lines)), picture(closing.sessions));
}

// The share read right, session by session, with its interval.
function picture(sessions) {
  const wide = 320, high = 120, make = (name, facts) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(facts)) made.setAttribute(key, value);
    return made;
  };
  const told = sessions.map(({ day, right, asked }) => `${day} ${right} of ${asked}`).join("; ");
  const svg = make("svg", { viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": `share read right by session: ${told}`, class: "shares" });
  const y = (share) => high - 18 - share * (high - 30), step = (wide - 40) / Math.max(1, sessions.length);
  for (const share of [0, 0.5, 0.9, 1]) {
    const label = make("text", { x: 0, y: y(share) + 4 });
    label.textContent = `${share * 100} %`;
    svg.append(make("line", { x1: 36, x2: wide, y1: y(share), y2: y(share), class: share === 0.9 ? "goal" : "grid" }));
    if (share !== 1) svg.append(label);
  }
  sessions.forEach(({ day, asked, right, low, high: top }, place) => {
    const x = 40 + step * (place + 0.5), label = make("text", { x, y: high - 4, "text-anchor": "middle" });
    label.textContent = sessions.length < 6 ? day.slice(5) : "";
    svg.append(make("line", { x1: x, x2: x, y1: y(low), y2: y(top), class: "reach" }), make("circle", { cx: x, cy: y(right / asked), r: 4 }), label);
  });
  return svg;
}
