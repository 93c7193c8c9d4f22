// A file is sent whole, and what it brought is told.
const by = (id) => document.getElementById(id);
const sheet = encodeURIComponent(by("import").dataset.sheet);
const element = (name, text) => Object.assign(document.createElement(name), { textContent: text });

by("writer").value = localStorage.getItem("niner-writer") ?? "";

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

by("bring").addEventListener("submit", async (event) => {
  event.preventDefault();
  const [file] = by("file").files;
  localStorage.setItem("niner-writer", by("writer").value.trim());
  const query = new URLSearchParams({ writer: by("writer").value, name: file.name });
  for (const line of by("crews").value.split("\n")) if (line.trim()) query.append("crew", line);
  by("brought").replaceChildren(element("p", `${file.name} is being read …`));
  try {
    const answer = await fetch(`/import/${sheet}?${query}`, { method: "POST", body: file });
    told(await answer.json(), answer.ok);
  } catch (error) {
    told({ lines: [`${file.name} did not reach the desk: ${error}`] }, false);
  }
});

document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  event.preventDefault();
  if (event.dataTransfer.files.length) by("file").files = event.dataTransfer.files;
});
