// Lines on their way: each is kept in the browser's database (Indexed Database API, W3C) under a name of its own until the
// desk says that it is on the disk, and sent again until then. Sent twice, it is written once.

const STORE = "lines";

function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

export class Outbox {
  static async open(post, show, sheet) {
    const opening = indexedDB.open("niner-outbox", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore(STORE, { keyPath: "place", autoIncrement: true });
    const outbox = new Outbox(await asked(opening), post, show, sheet);
    await outbox.show();
    outbox.send();
    return outbox;
  }

  constructor(database, post, show, sheet) {
    Object.assign(this, { database, post, showLines: show, sheet, heard: new Map(), sending: null });
  }

  store(mode) {
    return this.database.transaction(STORE, mode, { durability: "strict" }).objectStore(STORE);
  }

  async lines() {
    return (await asked(this.store("readonly").getAll())).filter((line) => line.sheet === this.sheet);
  }

  async show() {
    this.showLines(await this.lines());
  }

  // Keep a line, and send it; `heard` is told the desk's answer.
  async add(line, heard) {
    const key = [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    this.heard.set(key, heard);
    await asked(this.store("readwrite").add({ ...line, key }));
    await this.show();
    this.send();
  }

  // Send what is kept, one line after the other, in the order in which it was typed; one tab of a browser at a time.
  send() {
    this.again = true;
    this.sending ??= navigator.locks.request(`niner-outbox-${this.sheet}`, () => this.run()).finally(() => { this.sending = null; });
  }

  async run() {
    while (this.again) {
      this.again = false;
      for (const line of await this.lines()) {
        if (!(await this.one(line))) {
          setTimeout(() => this.send(), 1000);
          return;
        }
      }
    }
  }

  // Return whether the line is done with: written, or refused for good.
  async one(line) {
    let answer;
    try {
      answer = await this.post(line);
    } catch {
      return false;
    }
    let told;
    try {
      told = await answer.json();
    } catch {
      told = { tone: "bad", lines: [`not written: ${line.text}`] };
    }
    if (answer.status >= 500) {
      this.heard.get(line.key)?.(told);
      return false; // it can't be written now: the line stays here
    }
    await asked(this.store("readwrite").delete(line.place));
    this.heard.get(line.key)?.(answer.ok ? told : { tone: "bad", lines: [`not written: ${line.text}`, ...told.lines] });
    this.heard.delete(line.key);
    await this.show();
    return true;
  }
}
