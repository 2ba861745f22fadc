// A change of damping, before and after: remember the ring, change the damping, tap again.
// Partials stand as they sound, the highest on top.

import { compareDamping } from "./api.js";
import { Asking } from "./asking.js";
import { dampingWords, partialFigures, partialWords } from "./damping_words.js";
import { el, mark, say } from "./dom.js";
import { countWords, secondsWords } from "./drum_words.js";
import { faultLine, Sheet } from "./sheet.js";
import { signed } from "./words.js";

const NAMES = ["fundamental", "overtone"];
const BEFORE = "Tap five times, the drum as it is. Then remember it.";

export class DampingSheet {
  #state;
  #asking;
  #drawn = "";

  constructor(state) {
    this.#state = state;
    this.how = el("p", { className: "damping-how" });
    this.now = el("p", { className: "damping-now", role: "status" });
    this.whole = el("p", { className: "damping-whole" });
    this.list = el("ol", { className: "damping-list" });
    this.small = el("p", { className: "soft damping-small" });
    this.fault = faultLine();
    this.#asking = new Asking(this.fault, () => this.#update());
    this.remember = el("button", { type: "button", className: "main stick", onclick: () => this.#step("remember") }, "remember this ring");
    this.end = el("button", { type: "button", className: "stick", onclick: () => this.#step("forget") }, "end");
    this.sheet = new Sheet(
      "Damping",
      [this.how, this.now, this.whole, this.list, this.small],
      [this.fault, el("div", { className: "both-buttons" }, this.remember, this.end)],
    );
    state.onChange(() => this.sheet.isOpen && this.#update());
  }

  open() {
    say(this.fault, "");
    this.sheet.open();
    this.#update();
  }

  #update() {
    const taps = this.#state.me?.taps;
    const damping = taps?.damping ?? null;
    const used = taps?.tap?.used ?? 0;
    const partials = damping?.partials ?? [];
    say(this.how, this.#howWords(damping, used > 0));
    say(this.now, taps ? countWords(taps) : "");
    say(this.whole, partials.length ? dampingWords(partials) : "");
    say(this.small, partials.length ? this.#smallWords(damping, used) : "");
    this.#draw(partials);
    this.remember.disabled = used === 0;
    say(this.remember, damping ? "remember this instead" : "remember this ring");
    this.end.hidden = !damping;
  }

  #howWords(damping, tapped) {
    if (!damping) return BEFORE;
    if (damping.other_drum) return "That is another drum: tap the one remembered.";
    const ring = damping.before_ring_s === null ? "" : `, rings ${secondsWords(damping.before_ring_s)}`;
    const before = `Remembered: ${this.#state.noteName(damping.note)}${ring}.`;
    return tapped ? before : `${before} Change the damping, then tap five times.`;
  }

  #smallWords(damping, used) {
    const words = [`pitch ${signed(damping.moved_cents)} cents`];
    if (damping.partials.length > 1) words.push("levels are against the fundamental's");
    if (used < 2) words.push("one tap: tap more to be sure");
    return words.join(" · ");
  }

  #draw(partials) {
    const rows = partials.map((one, place) => [NAMES[place] ?? `partial ${place + 1}`, partialWords(one), partialFigures(one, place === 0)]);
    if (this.#drawn === rows.join()) return;
    this.#drawn = rows.join();
    const lines = rows.map(([name, words, figures]) => {
      const line = el("li", {}, el("span", { className: "damping-name" }, name), el("strong", {}, words), el("span", { className: "soft" }, figures));
      mark(line, "same", words === "as before" ? "yes" : null);
      return line;
    });
    this.list.replaceChildren(...lines.reverse());
  }

  #step(step) {
    const { me } = this.#state;
    if (!me) return;
    this.#asking.ask(
      (code) => compareDamping(me.id, step, this.#state.by, code),
      (told) => {
        if (!told) return;
        this.#state.setStroke({ player: me.id, taps: told.taps });
        if (step === "forget") this.sheet.close();
      },
    );
  }
}
