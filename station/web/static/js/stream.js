// One event stream for the page: closed while the page is hidden, opened anew with
// a fresh snapshot, and dropped when even the heartbeats stay away. It says whose
// phone this is, so that the band knows who is present to agree on a reference.

import { memory } from "./memory.js";

const SILENCE_MS = 9000; // two heartbeats and a little
const FIRST_RETRY_MS = 500;
const LAST_RETRY_MS = 4000;

export class Stream {
  #source = null;
  #before = null; // the stream that is being replaced: heard until the new one speaks
  #retryMs = FIRST_RETRY_MS;
  #retryTimer = 0;
  #heardAt = 0;
  #state;

  constructor(state) {
    this.#state = state;
    document.addEventListener("visibilitychange", () => this.#follow());
    window.addEventListener("pagehide", () => this.#close("paused"));
    window.addEventListener("pageshow", () => this.#follow());
    window.addEventListener("online", () => this.#retryNow());
    setInterval(() => this.#watch(), 1000);
    state.onChange((what) => {
      if (what === "me" && this.#source) this.#open();
    });
    this.#follow();
  }

  #follow() {
    if (document.hidden) this.#close("paused");
    else this.#retryNow();
  }

  #retryNow() {
    if (!this.#source && !document.hidden) this.#open();
  }

  #open() {
    clearTimeout(this.#retryTimer);
    this.#letGo();
    this.#before = this.#source;
    const whose = memory.me ? `?player=${encodeURIComponent(memory.me)}` : "";
    const source = new EventSource(`/api/v1/events${whose}`);
    this.#source = source;
    this.#heardAt = performance.now();
    const on = (kind, act) =>
      source.addEventListener(kind, (event) => {
        if (source !== this.#source && source !== this.#before) return;
        this.#heardAt = performance.now();
        act(JSON.parse(event.data));
      });
    on("room", (room) => {
      if (source === this.#source) this.#letGo();
      this.#retryMs = FIRST_RETRY_MS;
      this.#state.setLink("live");
      this.#state.setRoom(room);
    });
    on("reading", (reading) => this.#state.setReading(reading));
    on("note", (note) => this.#state.setNote(note));
    on("stroke", (stroke) => this.#state.setStroke(stroke));
    on("strum", (strum) => this.#state.setStrum(strum));
    on("beats", (reading) => this.#state.setBeats(reading));
    on("heartbeat", () => {});
    on("lease", () => source === this.#source && this.#open());
    source.onerror = () => {
      if (source === this.#source) this.#lose();
      else source.close();
    };
  }

  #letGo() {
    this.#before?.close();
    this.#before = null;
  }

  #close(link) {
    clearTimeout(this.#retryTimer);
    this.#letGo();
    this.#source?.close();
    this.#source = null;
    this.#state.setLink(link);
  }

  // The browser's own retry gives up on an error answer (all streams in use), so
  // the page retries by itself.
  #lose() {
    this.#close("lost");
    this.#askWhy();
    this.#retryTimer = setTimeout(() => this.#retryNow(), this.#retryMs);
    this.#retryMs = Math.min(this.#retryMs * 1.6, LAST_RETRY_MS);
  }

  // An event stream hides why it was refused; the station's health says it.
  async #askWhy() {
    try {
      const health = await (await fetch("/health")).json();
      this.#state.setFull(health.streams >= health.max_streams ? health.max_streams : 0);
    } catch {
      this.#state.setFull(0); // no answer at all: plainly lost
    }
  }

  #watch() {
    if (this.#source && performance.now() - this.#heardAt > SILENCE_MS) this.#lose();
  }
}
