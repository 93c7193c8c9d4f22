// What is said into a microphone or a line-in: cut at its pauses in the browser, heard at the desk, and forgotten there.
import { answered, by, element } from "./common.js";

const RATE = 16000;
const PLAIN = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };

// The devices that take up sound, put into a list to choose from; browsers name them only to a page that was let.
async function list(select) {
  const chosen = select.value, found = (await navigator.mediaDevices.enumerateDevices()).filter(({ kind, deviceId }) => kind === "audioinput" && deviceId);
  select.replaceChildren(new Option("the usual microphone", ""), ...found.map(({ label, deviceId }, number) => new Option(label || `microphone ${number + 1}`, deviceId)));
  select.value = found.some(({ deviceId }) => deviceId === chosen) ? chosen : "";
}

// Listens, once begun: `ask(query, when)` is the address where a sound is heard, that was said from `when.began` to `when.ended`, in milliseconds of
// performance.now(); none where it is not to be heard. `heard(answer, facts)` gets what the desk says of it; `facts.over` tells that nothing more
// was said behind it, `facts.after` how many milliseconds ago it ended. `state(words, tone)` is told what goes on. `whole`: nothing is heard before
// it is over.
export class Voice {
  constructor(place, { ask, heard, state, whole = false }) {
    Object.assign(this, { ask, heard, state });
    this.gate = JSON.parse(place.dataset.gate);
    if (whole) this.gate.softly = -1;
    this.button = place.querySelector(".voice-on");
    this.device = place.querySelector(".voice-device");
    this.meter = place.querySelector(".voice-level");
    this.number = 0; // of the last sound
    this.button.addEventListener("click", () => this.turn());
    this.device.addEventListener("change", () => { if (this.stream) { this.end(); this.begin(); } });
  }

  get on() { return Boolean(this.stream || this.beginning); }

  turn() { return this.stream || this.beginning ? this.end() : this.begin(); }

  async begin() {
    const mine = this.beginning = {};
    try {
      if (!navigator.mediaDevices) throw new Error("a browser gives the microphone only to a page by https, or on this desk's own machine");
      this.state("asking for the microphone", "");
      const stream = await navigator.mediaDevices.getUserMedia({ audio: { ...PLAIN, ...(this.device.value ? { deviceId: { exact: this.device.value } } : {}) } });
      if (this.beginning !== mine) { stream.getTracks().forEach((track) => track.stop()); return; }
      this.stream = stream;
      this.state("the desk gets ready to hear", "");
      const answer = await fetch(this.ask({}));
      if (!answer.ok) throw new Error((await answered(answer)).lines.join("; "));
      const { context, source } = await sourceOf(stream);
      if (this.beginning !== mine) { context.close(); return; }
      this.context = context;
      await context.audioWorklet.addModule("/static/gate.js");
      this.node = new AudioWorkletNode(context, "gate", { numberOfOutputs: 0, processorOptions: this.gate });
      this.node.port.onmessage = ({ data }) => this.told(data);
      source.connect(this.node);
      stream.getAudioTracks()[0].addEventListener("ended", () => { this.end(); this.state("the microphone is gone", "bad"); });
      this.button.setAttribute("aria-pressed", "true");
      this.state("listening", "good");
      await list(this.device);
    } catch (error) {
      if (this.beginning === mine) { this.end(); this.state(why(error), "bad"); }
    }
    if (this.beginning === mine) this.beginning = null;
  }

  end() {
    this.beginning = null;
    this.number += 1;
    this.node?.port.postMessage("end");
    this.stream?.getTracks().forEach((track) => track.stop());
    this.context?.close();
    this.stream = this.context = this.node = null;
    this.button.setAttribute("aria-pressed", "false");
    this.meter.value = 0;
    this.state("", "");
  }

  told({ level, said, over, soft, sound, rate, ago, lasted }) {
    if (sound) {
      const ended = performance.now() - 1000 * ago;
      this.hear(sound, rate, soft, { began: ended - 1000 * lasted, ended });
    }
    else if (over) this.over();
    else { this.meter.value = Math.max(0, level); if (said !== this.said) { this.said = said; this.state(said ? "somebody speaks" : "listening", "good"); } }
  }

  // What was sent last is all that was said.
  over() {
    if (this.answer?.number === this.number) this.heard(this.answer.told, { over: true, after: this.answer.after });
    else this.ended = this.number;
  }

  async hear(sound, rate, soft, when) {
    const number = ++this.number, place = this.ask({ rate }, when);
    if (!place) return;
    let told;
    try {
      const answer = await fetch(place, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: sound });
      told = await answered(answer);
    } catch { told = { tone: "bad", lines: ["the desk does not answer: what was said is lost, type it"] }; }
    if (number !== this.number) return; // more was said meanwhile
    const after = Math.round(performance.now() - when.ended), over = !soft || this.ended === number;
    this.answer = { number, told, after };
    this.heard(told, { over, after });
  }
}

// A source of sound at a rate that is enough for voices, or, where a browser can't change it, at its own.
async function sourceOf(stream) {
  for (const settings of [{ sampleRate: RATE }, {}]) {
    const context = new AudioContext(settings);
    try {
      return { context, source: context.createMediaStreamSource(stream) };
    } catch { context.close(); }
  }
  throw new Error("this browser gives no sound of that device");
}

function why(error) {
  const known = { NotAllowedError: "the browser was not let use the microphone", NotFoundError: "no microphone is connected", NotReadableError: "another program holds the microphone", OverconstrainedError: "that device is gone" };
  return known[error.name] ?? error.message;
}

// The wall: what is heard is offered beside the line that is typed in; what is sure is taken by itself where that is wanted.
export function offers(sheet, { section_of, enter }) {
  const place = by("voice"), state = by("voice-told"), talk = by("voice-talk"), itself = by("voice-itself"), car = by("voice-car");
  itself.checked = localStorage.getItem("niner-voice-itself") !== "no";
  itself.addEventListener("change", () => localStorage.setItem("niner-voice-itself", itself.checked ? "yes" : "no"));
  const section = () => section_of(car.value);
  const clear = (one) => { const offer = one.querySelector(".offer"); offer.replaceChildren(); offer.dataset.take = ""; };
  function take(one) {
    const offer = one.querySelector(".offer"), line = offer.dataset.take;
    if (line && enter(one, line)) clear(one);
  }
  function show(one, told, { over, after }) {
    const offer = one.querySelector(".offer");
    if (over && told.surely && itself.checked) {
      if (enter(one, told.surely)) { clear(one); return; }
    }
    if (!told.take) { // talk, or trouble: what was offered before stays
      talk.textContent = [...told.lines, told.words === undefined ? "" : told.words ? `no report: ${told.words}` : "no word was heard"].filter(Boolean).join("; ");
      return;
    }
    offer.dataset.tone = told.tone;
    offer.dataset.after = after;
    offer.dataset.take = told.take;
    const acts = element("p");
    acts.append(takes(one), leaves(one));
    offer.replaceChildren(...[...told.lines, `heard: ${told.words}`].map((line) => element("p", line)), acts);
  }
  function takes(one) {
    const button = Object.assign(element("button"), { type: "button" });
    button.append(element("kbd", "Alt"), "+", element("kbd", "T"), " take it");
    button.addEventListener("click", () => take(one));
    return button;
  }
  function leaves(one) {
    const button = Object.assign(element("button", "leave it"), { type: "button" });
    button.addEventListener("click", () => { clear(one); one.querySelector("input").focus(); });
    return button;
  }
  let of = null; // whose it is is settled when it is sent
  const voice = new Voice(place, {
    ask: (query) => { of = section(); return `/hear/${encodeURIComponent(sheet)}?${new URLSearchParams({ car: of.dataset.car, ...query })}`; },
    heard: (told, facts) => show(of, told, facts),
    state: (words, tone) => { if (words !== "listening") talk.textContent = ""; state.textContent = words; state.dataset.tone = tone; },
  });
  return { take, turn: () => voice.turn() };
}
