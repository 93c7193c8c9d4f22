// What the desk speaks, played by the browser.
import { answered } from "./common.js";

export async function sound(audio, url) {
  const answer = await fetch(url);
  if (!answer.ok) throw new Error((await answered(answer)).lines.join(" "));
  return audio.decodeAudioData(await answer.arrayBuffer());
}

// Begin to play; what plays can be stopped, and measured by its meter.
export function played(audio, samples) {
  const source = audio.createBufferSource(), meter = audio.createAnalyser();
  source.buffer = samples;
  source.connect(meter).connect(audio.destination);
  source.start();
  return { source, meter };
}
