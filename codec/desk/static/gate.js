// Where a microphone has sound, in the thread of the sound itself: as codec/voice/gate.py does it, with its settings. What is no sound between
// stretches leaves this thread as a level only.

class Gate extends AudioWorkletProcessor {
  constructor({ processorOptions }) {
    super();
    Object.assign(this, processorOptions);
    this.size = Math.round(this.frame * sampleRate);
    this.open = true;
    this.rest = new Float32Array(0);
    this.kept = []; // frames, and the levels of them, from number `first` on
    this.levels = [];
    this.past = [];
    this.count = this.first = this.near = this.softened = 0;
    this.begin = -1;
    this.port.onmessage = () => { this.open = false; };
  }

  process([input]) {
    const sound = input[0];
    if (sound) {
      const whole = new Float32Array(this.rest.length + sound.length);
      whole.set(this.rest);
      whole.set(sound, this.rest.length);
      let place = 0;
      for (; place + this.size <= whole.length; place += this.size) this.take(whole.slice(place, place + this.size));
      this.rest = whole.slice(place);
    }
    return this.open;
  }

  take(samples) {
    const level = 10 * Math.log10(samples.reduce((sum, one) => sum + one * one, 0) / samples.length + 1e-10);
    this.past.push(level);
    if (this.past.length > this.remembered) this.past.shift();
    this.kept.push(samples);
    this.levels.push(level);
    const number = this.count++;
    if (number % 5 === 0) this.sorted = this.past.toSorted((a, b) => a - b);
    const floor = Math.max(this.quiet, this.sorted[Math.floor((this.sorted.length - 1) * this.floor / 100)]);
    const late = this.levels.slice(-3), now = late.reduce((sum, one) => sum + one, 0) / late.length;
    if (number % 5 === 0) this.port.postMessage({ level: now - floor, said: this.begin >= 0 });
    if (this.begin < 0) {
      if (now > floor + this.opens) { this.begin = number; this.near = 0; this.softened = -1; }
      else this.forget(number + 1 - this.margin);
      return;
    }
    this.near = now < floor + this.closes ? this.near + 1 : 0;
    const end = number - this.near + 1;
    if (this.near === this.softly) this.soft(end);
    if (this.near >= this.hangs) this.close(end);
    else if (number - this.begin >= this.longest) this.cut(number);
  }

  // End a stretch that is too long at its quietest moment of late, and begin another.
  cut(number) {
    const third = Math.floor(this.longest / 3), late = this.levels.slice(number - third - this.first, number - this.first);
    const end = number - third + late.indexOf(Math.min(...late));
    this.close(end);
    this.begin = end;
    this.softened = -1;
  }

  // What was said may have ended: it can be heard already. Where it goes on, all of it is heard again.
  soft(end) {
    if (end - this.begin < this.shortest) return;
    this.softened = end;
    this.tell({ soft: true }, end);
  }

  close(end) {
    if (end - this.begin >= this.shortest) {
      if (this.softened === end) this.port.postMessage({ over: true });
      else this.tell({ soft: false }, end);
    }
    this.begin = -1;
    this.near = 0;
    this.forget(end);
  }

  tell(facts, end) {
    const from = Math.max(0, this.begin - this.margin - this.first), frames = this.kept.slice(from, end + this.margin - this.first);
    const sound = new Int16Array(frames.length * this.size);
    frames.forEach((frame, place) => frame.forEach((one, at) => { sound[place * this.size + at] = Math.max(-1, Math.min(1, one)) * 32767; }));
    this.port.postMessage({ ...facts, sound, rate: sampleRate, ago: (this.count - end) * this.frame, lasted: (end - this.begin) * this.frame }, [sound.buffer]);
  }

  forget(number) {
    const gone = Math.max(0, number - this.first);
    this.kept.splice(0, gone);
    this.levels.splice(0, gone);
    this.first += gone;
  }
}

registerProcessor("gate", Gate);
