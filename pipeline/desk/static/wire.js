// The line to the server: pieces go out as the outbox has them, acknowledgements and news come back. A line that is lost, or says
// nothing any more, is opened anew, and what was not acknowledged is sent again.

const LATEST_RETRY_MS = 5000;
const SILENT_MS = 7000;
const STUCK_MS = 20000;
// So many seconds of sound may be on their way without an acknowledgement.
const AHEAD_S = 20;
const AT_ONCE = 50;

export class Wire {
  /** `on` is told: news(parts), state("on" or "away"), refused(status, why), sent() after each acknowledgement. */
  constructor(address, outbox, on) {
    Object.assign(this, { address, outbox, on, current: null, over: false, acked: new Map(), pause: 250, waiters: [], wakes: 0 });
    addEventListener("online", () => this.now());
    setInterval(() => this.look(), 1000);
    this.connect();
  }

  /** There is something new to be sent. */
  wake() {
    this.wakes++;
    for (const go of this.waiters.splice(0)) go();
  }

  /** From here on this stream is recorded; null for none. */
  record(stream) {
    this.current = stream;
    this.over = !stream;
    this.wake();
  }

  /** The examination is over: no more of it. */
  close() {
    this.done = true;
    clearTimeout(this.timer);
    this.leave();
    this.wake();
  }

  /** Tries again at once. */
  now() {
    if (this.done || this.socket?.readyState === WebSocket.OPEN) return;
    clearTimeout(this.timer);
    this.pause = 250;
    this.connect();
  }

  connect() {
    this.leave();
    const socket = (this.socket = new WebSocket(this.address));
    socket.binaryType = "arraybuffer";
    this.heardAt = this.movedAt = Date.now();
    socket.onopen = () => {
      this.acked.clear();
      this.serve(socket).catch((error) => {
        console.warn(error);
        this.lost(socket);
      });
    };
    socket.onmessage = ({ data }) => this.take(JSON.parse(data));
    socket.onclose = ({ code }) => this.lost(socket, code);
  }

  leave() {
    const { socket } = this;
    if (!socket) return;
    socket.onopen = socket.onmessage = socket.onclose = null;
    socket.close();
    this.socket = undefined;
  }

  lost(socket, code = 0) {
    if (socket !== this.socket) return;
    this.leave();
    this.wake();
    this.on.state("away");
    if (code >= 4000) this.on.refused(code - 4000, this.why ?? "");
    this.timer = setTimeout(() => this.connect(), this.pause);
    this.pause = Math.min(this.pause * 2, LATEST_RETRY_MS);
  }

  /** A cable that was pulled closes nothing: silence tells. */
  look() {
    if (!this.socket) return;
    const now = Date.now();
    const stuck = this.socket.readyState === WebSocket.OPEN && this.outbox.waiting > 0 && now - this.movedAt > STUCK_MS;
    if (now - this.heardAt > SILENT_MS || stuck) this.lost(this.socket);
  }

  take(message) {
    this.heardAt = Date.now();
    if (message.refused) this.why = message.refused;
    if (message.news) {
      this.pause = 250;
      this.on.state("on");
      this.on.news(message.news);
    }
    if (message.stream) {
      if (message.safe > (this.acked.get(message.stream) ?? -1)) this.movedAt = this.heardAt;
      this.acked.set(message.stream, message.safe);
      this.outbox.drop(message.stream, message.safe).then(() => this.on.sent());
      this.wake();
    }
  }

  async serve(socket) {
    while (socket === this.socket) {
      const [old] = this.outbox.waitingStreams().filter((one) => one.name !== this.current?.name);
      const stream = old ?? this.current;
      if (stream) await this.send(socket, stream);
      else await this.until(socket, () => this.current);
    }
  }

  async send(socket, stream) {
    const announce = (over) => socket.send(JSON.stringify({ stream: stream.name, rate_hz: stream.rate, source: stream.source, over }));
    const acked = () => this.acked.get(stream.name) ?? -1;
    this.acked.delete(stream.name);
    announce(false);
    await this.until(socket, () => acked() >= 0);
    if (socket !== this.socket) return;
    this.movedAt = Date.now();
    let sent = acked();
    // A device that lost its power can have forgotten what it sent; a server, what it had: new numbers, and nothing is mixed up.
    if (sent > (stream.resumed ?? sent)) return this.outbox.rebase(stream, stream.resumed);
    delete stream.resumed;
    while (socket === this.socket) {
      const seen = this.wakes;
      const pieces = await this.outbox.from(stream.name, sent, AT_ONCE);
      if (pieces.length && pieces[0].first > sent) return this.outbox.rebase(stream, pieces[0].first);
      for (const piece of pieces) {
        if (socket !== this.socket) return;
        socket.send(piece.data);
        sent = piece.first + piece.samples;
      }
      if (pieces.length) await this.until(socket, () => sent - acked() < AHEAD_S * stream.rate);
      else if (stream === this.current || stream.next > sent) await this.woken(seen);
      else {
        announce(true);
        return this.until(socket, () => acked() >= sent);
      }
    }
  }

  /** Waits until something is so, or the line is lost. */
  async until(socket, so) {
    while (socket === this.socket && !so()) await this.woken(this.wakes);
  }

  /** Waits for the next call of `wake` after so many. */
  async woken(seen) {
    if (this.wakes === seen) await new Promise((go) => this.waiters.push(go));
  }
}
