// Energy a lap against its target, drawn by uPlot; pointed at, it tells the lap.

const HEIGHT = 150;
const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

function chart(place) {
  const [laps, used, target] = ["laps", "used", "target"].map((name) => JSON.parse(place.dataset[name]));
  const axis = { stroke: ink("--quiet"), grid: { stroke: ink("--line"), width: 1 }, ticks: { show: false }, font: "12px system-ui" };
  const told = (value) => (value == null ? "–" : `${value.toFixed(2)} ${place.dataset.unit}`);
  return new uPlot({
    width: place.clientWidth,
    height: HEIGHT,
    scales: { x: { time: false } },
    axes: [{ ...axis, space: 30, size: 26 }, { ...axis, size: 46, space: 24 }],
    series: [
      { label: "lap" },
      { label: "used", stroke: ink("--accent"), width: 2, points: { show: true, size: 6 }, value: (_, value) => told(value) },
      { label: "target", stroke: ink("--ink"), width: 2, dash: [6, 4], paths: uPlot.paths.stepped({ align: 0 }), points: { show: false }, value: (_, value) => told(value) },
    ],
    cursor: { y: false },
  }, [laps, used, target], place);
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
