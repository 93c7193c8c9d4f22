// Values by lap, drawn by uPlot. Pointed at, or moved along by the arrow keys, a chart tells its lap: in its legend, and as a slider does
// (WAI-ARIA Authoring Practices, "Slider") for those who do not see it.

const HEIGHT = 170;
const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

// How lines look: told apart by dash and mark, not by hue alone.
const LOOKS = {
  line: () => ({ stroke: ink("--accent"), width: 2, points: { show: true, size: 6 } }),
  step: () => ({ stroke: ink("--ink"), width: 2, dash: [6, 4], paths: uPlot.paths.stepped({ align: 0 }), points: { show: false } }),
  limit: () => ({ stroke: ink("--bad"), width: 1.5, dash: [3, 3], points: { show: false } }),
  points: () => ({ stroke: ink("--ink"), width: 2, paths: () => null, points: { show: true, size: 7, fill: ink("--panel") } }),
  bar: () => ({ stroke: ink("--accent"), fill: ink("--accent"), width: 1, paths: uPlot.paths.bars({ size: [0.7, 40] }), points: { show: false } }),
  low: () => ({ stroke: ink("--quiet"), width: 1, points: { show: false } }),
  high: () => ({ stroke: ink("--quiet"), width: 1, points: { show: false } }),
};

function chart(place) {
  const { unit, laps, lines } = JSON.parse(place.dataset.chart);
  const axis = { stroke: ink("--quiet"), grid: { stroke: ink("--line"), width: 1 }, ticks: { show: false }, font: "12px system-ui" };
  const told = (value) => (value == null ? "–" : `${value.toFixed(2)} ${unit}`);
  const drawn = new uPlot({
    width: place.clientWidth,
    height: HEIGHT,
    scales: { x: { time: false }, y: lines.some(({ look }) => look === "bar") ? { range: (_, __, most) => [0, most * 1.05 || 1] } : {} },
    axes: [{ ...axis, space: 40, size: 26, incrs: [1, 2, 5, 10, 20, 50, 100] }, { ...axis, size: 52, space: 28 }],
    series: [{ label: "lap" }, ...lines.map(({ name, look }) => ({ label: name, ...LOOKS[look](), value: (_, value) => told(value) }))],
    bands: lines.flatMap(({ look }, at) => (look === "high" ? [{ series: [at + 1, at], fill: ink("--band") }] : [])),
    cursor: { y: false },
    legend: { live: true },
    hooks: { ready: [(own) => own.setLegend({ idx: laps.length - 1 })], setCursor: [({ cursor }) => { if (cursor.idx != null) tell(cursor.idx); }] },
  }, [laps, ...lines.map(({ values }) => values)], place);

  let at = laps.length - 1; // the lap told
  function tell(index) {
    at = index;
    place.setAttribute("aria-valuenow", laps[at]);
    place.setAttribute("aria-valuetext", `lap ${laps[at]}: ${lines.map(({ name, values }) => `${name} ${told(values[at])}`).join(", ")}`);
  }

  function point(index) {
    drawn.setCursor({ left: drawn.valToPos(laps[index], "x"), top: 0 });
    drawn.setLegend({ idx: index });
    tell(index);
  }
  const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10, Home: -laps.length, End: laps.length };
  place.onkeydown = (event) => {
    if (!(event.key in steps) || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    point(Math.min(laps.length - 1, Math.max(0, at + steps[event.key])));
  };
  place.onfocus = () => point(at);
  Object.assign(place, { tabIndex: 0, role: "slider" });
  for (const [name, value] of [["label", place.dataset.name], ["orientation", "horizontal"], ["valuemin", laps[0]], ["valuemax", laps.at(-1)]]) place.setAttribute(`aria-${name}`, value);
  tell(at);
  return drawn;
}

const sized = new ResizeObserver((changes) => {
  for (const { target, contentRect } of changes) target.drawn?.setSize({ width: contentRect.width, height: HEIGHT });
});

// Let go of the charts within a part of the page that is put out: each listens to the window until then.
export function forget(part) {
  for (const place of part.querySelectorAll(".chart")) {
    sized.unobserve(place);
    place.drawn?.destroy();
  }
}

// Draw every chart within a part of the page that was put in.
export function charts(part) {
  for (const place of part.querySelectorAll(".chart")) {
    place.drawn = chart(place);
    sized.observe(place);
  }
}

// What is drawn takes its colours when it is drawn: it is drawn anew when they change.
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { forget(document); for (const place of document.querySelectorAll(".chart")) place.replaceChildren(); charts(document); });
