// Batter and resonant head, one after the other with the other damped. Drawn as two lines at
// the heights of their pitches, the batter on the left: what is higher is up.

import { bothHeads } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { faultLine, Sheet } from "./sheet.js";
import { beats, signed, uncertainty } from "./words.js";

const FULL_CENTS = 1200; // an octave fills the drawing

class HeadLine {
  constructor(words) {
    this.pitch = el("strong");
    this.more = el("span", { className: "soft" });
    this.bar = el("span", { className: "both-bar" });
    this.node = el("div", { className: "both-head" }, this.bar, el("p", {}, el("span", {}, words), this.pitch, this.more));
  }

  update(one, share, noteName) {
    mark(this.node, "known", one ? "yes" : null);
    this.node.style.setProperty("--share", share.toFixed(4));
    say(this.pitch, one ? `${noteName(one.note)} ${signed(one.cents, 0)}` : "–");
    say(this.more, one ? `${one.hz.toFixed(1)} Hz ${uncertainty(one.uncertainty_cents)}` : "not tapped yet");
  }
}

export class BothHeadsSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.snare = el("input", { type: "checkbox", name: "snare" });
    this.how = el("p", { className: "both-how" });
    this.now = el("p", { className: "both-now", role: "status" });
    this.batter = new HeadLine("top, batter");
    this.resonant = new HeadLine("bottom, resonant");
    this.interval = el("p", { className: "both-interval" });
    this.warning = el("p", { className: "head-warning" });
    this.advice = el("ul", { className: "both-advice" });
    this.fault = faultLine();
    this.asking = new Asking(this.fault, () => this.#update());
    this.next = el("button", { type: "button", className: "main stick", onclick: () => this.#step("next") }, "this head is done");
    this.back = el("button", { type: "button", className: "stick", onclick: () => this.#step("back") }, "tap it anew");
    this.end = el("button", { type: "button", className: "stick", onclick: () => this.#step("leave") }, "end");
    this.snareRow = el("label", { className: "check" }, this.snare, el("span", {}, "a snare: the bottom is the thin snare side"));
    this.snare.addEventListener("change", () => this.#step("begin"));
    this.sheet = new Sheet(
      "Two heads",
      [
        this.snareRow,
        this.how,
        this.now,
        el("div", { className: "both-plot" }, this.batter.node, this.resonant.node),
        this.interval,
        this.warning,
        this.advice,
      ],
      [this.fault, el("div", { className: "both-buttons" }, this.next, this.back, this.end)],
    );
    state.onChange(() => this.sheet.isOpen && this.#update());
  }

  open() {
    say(this.fault, "");
    this.sheet.open();
    this.#update();
    if (!this.#both) this.#step("begin");
  }

  get #both() {
    return this.#state.room?.heads?.both[this.#state.me?.id] ?? null;
  }

  #update() {
    const both = this.#both;
    const taps = this.#state.me?.taps;
    const used = taps?.tap?.used ?? 0;
    const result = both?.result ?? null;
    say(this.how, both?.how ?? "");
    this.snareRow.hidden = Boolean(both?.batter);
    if (both) this.snare.checked = both.snare_side;
    say(this.now, both?.asked_for && taps ? `${used} of ${taps.wanted}${taps.tap ? `, ${this.#state.noteName(taps.tap.note)} ${signed(taps.tap.cents, 0)} cents` : ""}` : "");
    this.next.hidden = !both?.asked_for;
    this.next.disabled = used === 0;
    this.back.hidden = !both?.batter;
    const name = (note) => this.#state.noteName(note);
    const half = result ? result.cents / FULL_CENTS / 2 : 0;
    this.batter.update(both?.batter ?? null, Math.min(Math.max(0.5 - half, 0.04), 0.96), name);
    this.resonant.update(both?.resonant ?? null, Math.min(Math.max(0.5 + half, 0.04), 0.96), name);
    say(this.interval, result ? this.#intervalWords(result) : "");
    say(this.warning, result?.warning ?? "");
    const advice = result?.advice ?? [];
    if (this.advice.dataset.text !== advice.join()) {
      this.advice.dataset.text = advice.join();
      this.advice.replaceChildren(...advice.map((each) => el("li", {}, each)));
    }
  }

  #intervalWords(result) {
    const apart = `${Math.abs(result.semitones).toFixed(1)} semitones apart ${uncertainty(result.uncertainty_cents)} cents`;
    if (result.higher === "neither") return `the same pitch ${uncertainty(result.uncertainty_cents)} cents`;
    const which = result.higher === "resonant" ? "the bottom is higher" : "the top is higher";
    return result.warning ? `${which}: ${beats(result.beat_hz)} beats a second` : `${which}: ${apart}`;
  }

  async #step(step) {
    const { me } = this.#state;
    if (!me) return;
    const what = { step, by: this.#state.by };
    if (step === "begin") what.snare_side = this.snare.checked;
    await this.asking.ask(
      (code) => bothHeads(me.id, what, code),
      (told) => {
        if (told) this.#state.setHeadNow(me.id, told);
        if (told && step === "leave") this.sheet.close();
      },
    );
  }
}
