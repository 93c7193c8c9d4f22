// Lines on their way: each is kept in the browser's database (Indexed Database API, W3C) under a name of its own until the
// desk says that it is on the disk, and sent again until then. Sent twice, it is written once.

const STORE = "lines";

// One tab of a browser sends at a time (Web Locks API, W3C). Only pages by https and pages of the browser's own machine have that; elsewhere
// two tabs may send the same line, which is written once all the same.
const alone = (name, act) => (navigator.locks ? navigator.locks.request(name, act) : act());

function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

// What a sheet tells of a line that it was sent; null where an answer is none of a sheet's.
function judged(text) {
  try {
    const told = JSON.parse(text);
    return Array.isArray(told.lines) ? told : null;
  } catch {
    return null;
  }
}

export class Outbox {
  static async open(post, show, heard, sheet) {
    const opening = indexedDB.open("niner-outbox", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore(STORE, { keyPath: "place", autoIncrement: true });
    const outbox = new Outbox(await asked(opening), post, show, heard, sheet);
    await outbox.show();
    outbox.send();
    return outbox;
  }

  // `show` is given the lines that are kept whenever they change, `heard` a line, what there is to tell of it, and, when it is done with,
  // whether it was written.
  constructor(database, post, show, heard, sheet) {
    Object.assign(this, { database, post, showLines: show, heard, sheet, sending: null });
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

  // Keep a line, and send it.
  async add(line) {
    const key = [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    await asked(this.store("readwrite").add({ ...line, key, typed: Date.now() }));
    await this.show();
    this.send();
  }

  // Send what is kept, one line after the other, in the order in which it was typed; what comes while the last one is done with, too.
  send() {
    this.again = true;
    this.sending ??= alone(`niner-outbox-${this.sheet}`, () => this.run())
      .finally(() => { this.sending = null; })
      .then(() => { if (this.again) this.send(); });
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

  // Return whether the line is done with: written, or refused for good by the sheet. Whatever else is answered, by the desk's guard or by
  // something between, the line stays here and is sent again.
  async one(line) {
    let answer, text;
    try {
      answer = await this.post({ ...line, ago: Date.now() - line.typed }); // it was said when it was typed
      text = await answer.text();
    } catch {
      return false;
    }
    const told = judged(text);
    if (!told || answer.status >= 500) {
      this.heard(line, told ?? { tone: "bad", lines: [`not written yet: ${line.text}`, text.slice(0, 200)] });
      return false;
    }
    await asked(this.store("readwrite").delete(line.place));
    this.heard(line, answer.ok ? told : { tone: "bad", lines: [`not written: ${line.text}`, ...told.lines] }, answer.ok);
    await this.show();
    return true;
  }
}
