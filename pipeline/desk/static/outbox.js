// Sound that the server has not vouched for waits here, in IndexedDB: through a lost network, a server that is away, a reload. A
// piece is sent when it is kept, and goes when its last sample is acknowledged, never before. Streams are numbered through by
// samples: `next` is the number of the sample to come, `resumed` the one from which this page went on with an older page's stream.

import { renumbered } from "./pieces.js";

const RECENT = 100;
// No piece has more samples.
const LONGEST = 20000;
const DAYS_MS = 30 * 24 * 3600 * 1000;

const done = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

const over = (transaction) => new Promise((resolve, reject) => {
  transaction.oncomplete = resolve;
  transaction.onerror = transaction.onabort = () => reject(transaction.error);
});

export class Outbox {
  /** Opens what this browser keeps; it is empty until `load`. `on.full` is told when it can keep no more. */
  static async open(visit, on) {
    const box = new Outbox();
    Object.assign(box, { visit, on, recent: [], streams: new Map(), safe: new Map(), unkept: false });
    const asked = indexedDB.open("rostral-room", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("pieces");
      asked.result.createObjectStore("streams");
    };
    box.base = await done(asked);
    return box;
  }

  /** The visits of which sound waits in this browser. */
  static async visits() {
    const box = await Outbox.open("", {});
    const keys = await done(box.base.transaction("pieces").objectStore("pieces").getAllKeys());
    box.base.close();
    return [...new Set(keys.map(([visit]) => visit))];
  }

  /** Takes up what waits of the visit: for the one page of this browser that records it. */
  async load() {
    const write = this.base.transaction(["pieces", "streams"], "readwrite");
    const streams = write.objectStore("streams");
    const firsts = new Map();
    for (const [visit, name, first] of await done(write.objectStore("pieces").getAllKeys())) {
      const key = `${visit} ${name}`;
      if (!firsts.has(key)) firsts.set(key, first);
    }
    for (const [key, about] of await entries(streams)) {
      const first = firsts.get(key.join(" "));
      if (key[0] === this.visit) {
        this.streams.set(about.name, { ...about, resumed: about.next });
        this.safe.set(about.name, first ?? about.next);
      } else if (first === undefined && Date.now() - about.at > DAYS_MS) streams.delete(key);
    }
    await over(write);
  }

  /** Samples that wait. */
  get waiting() {
    return this.waitingStreams().reduce((sum, one) => sum + one.next - this.safe.get(one.name), 0);
  }

  /** Seconds of sound that wait. */
  get waitingS() {
    return this.waitingStreams().reduce((sum, one) => sum + (one.next - this.safe.get(one.name)) / one.rate, 0);
  }

  /** The streams that wait, those that were recorded last after others. */
  waitingStreams() {
    const waiting = [...this.streams.values()].filter((one) => one.next > this.safe.get(one.name));
    return waiting.sort((a, b) => a.at - b.at);
  }

  all() {
    return IDBKeyRange.bound([this.visit], [this.visit, []]);
  }

  /** A stream to go on with at this rate, or a new one. */
  stream(rate, source) {
    const known = [...this.streams.values()].filter((one) => one.rate === rate).sort((a, b) => a.at - b.at).pop();
    if (known) return known;
    return this.enter({ rate, source, next: 0, at: Date.now() });
  }

  enter(stream) {
    const random = [...crypto.getRandomValues(new Uint8Array(6))];
    stream.name = `b-${random.map((byte) => byte.toString(16).padStart(2, "0")).join("")}`;
    this.streams.set(stream.name, stream);
    this.safe.set(stream.name, 0);
    return stream;
  }

  /** Keeps a piece of a stream, whose `next` moves on; when this is done, it can be sent. */
  async add(stream, data, samples) {
    const first = stream.next;
    stream.next += samples;
    stream.at = Date.now();
    const piece = { stream: stream.name, first, samples, data, kept: false };
    this.recent.push(piece);
    // What cannot be kept stays in memory until it is sent.
    if (!this.unkept && this.recent.length > RECENT) this.recent.shift();
    try {
      const write = this.base.transaction(["pieces", "streams"], "readwrite");
      write.objectStore("pieces").put({ data, samples }, [this.visit, stream.name, first]);
      write.objectStore("streams").put(stream, [this.visit, stream.name]);
      await over(write);
    } catch (error) {
      this.unkept = true;
      this.on.full(error);
    }
    piece.kept = true;
  }

  /** What was recorded of a stream from this sample on becomes a stream of its own, since the server's numbers are others. */
  async rebase(stream, from) {
    const old = stream.name;
    this.streams.delete(old);
    this.enter(stream);
    stream.next -= from;
    delete stream.resumed;
    for (const one of this.recent.filter((piece) => piece.stream === old && piece.first >= from)) {
      Object.assign(one, { stream: stream.name, first: one.first - from, data: renumbered(one.data, one.first - from) });
    }
    const write = this.base.transaction(["pieces", "streams"], "readwrite");
    const pieces = write.objectStore("pieces");
    for (const [key, { data, samples }] of await entries(pieces, this.of(old))) {
      if (key[2] >= from) pieces.put({ data: renumbered(data, key[2] - from), samples }, [this.visit, stream.name, key[2] - from]);
      pieces.delete(key);
    }
    write.objectStore("streams").delete([this.visit, old]);
    write.objectStore("streams").put(stream, [this.visit, stream.name]);
    await over(write);
  }

  /** Pieces of a stream that hold samples from this one on, in order. */
  async from(name, sample, most) {
    const recent = this.recent.filter((one) => one.stream === name);
    if (recent.length && recent[0].first <= sample) {
      return recent.filter((one) => one.kept && one.first + one.samples > sample).slice(0, most);
    }
    const near = IDBKeyRange.bound([this.visit, name, Math.max(0, sample - LONGEST)], [this.visit, name, []]);
    const store = this.base.transaction("pieces").objectStore("pieces");
    const kept = await entries(store, near, (key, { samples }) => key[2] + samples > sample, most);
    return kept.map(([key, piece]) => ({ stream: name, first: key[2], ...piece }));
  }

  /** The server vouches for the samples of a stream before this one. */
  async drop(name, safe) {
    this.safe.set(name, Math.max(safe, this.safe.get(name) ?? 0));
    this.recent = this.recent.filter((one) => one.stream !== name || one.first + one.samples > safe);
    const write = this.base.transaction("pieces", "readwrite");
    const store = write.objectStore("pieces");
    const until = IDBKeyRange.bound([this.visit, name], [this.visit, name, safe], false, true);
    for (const [key] of await entries(store, until, (key, { samples }) => key[2] + samples <= safe)) store.delete(key);
    await over(write);
  }

  /** All that waits, as pieces in order. */
  async everything() {
    return (await entries(this.base.transaction("pieces").objectStore("pieces"), this.all())).map(([, piece]) => piece);
  }

  /** Lets go of all that waits of this visit. */
  async clear() {
    const write = this.base.transaction(["pieces", "streams"], "readwrite");
    write.objectStore("pieces").delete(this.all());
    write.objectStore("streams").delete(this.all());
    await over(write);
    this.recent = [];
    this.streams.clear();
    this.safe.clear();
  }
}

/** Key and value of what a store holds in a range, `most` of those that fit. */
function entries(store, range, fits = () => true, most = Infinity) {
  return new Promise((resolve, reject) => {
    const found = [];
    const asked = store.openCursor(range);
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const cursor = asked.result;
      if (!cursor || found.length >= most) return resolve(found);
      if (fits(cursor.key, cursor.value)) found.push([cursor.key, cursor.value]);
      cursor.continue();
    };
  });
}
