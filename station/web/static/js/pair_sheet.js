// Two strings together: the round of an instrument's pairs, and the pulse of the one that is
// listened to: how fast it beats, which string to move and which way, and what beat to leave.

import { closeBench, openPair, tour } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { evenScale, Ladder } from "./ladder.js";
import { PairPulse } from "./pair_pulse.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { signed } from "./words.js";

const WAYS = { "": "as is usual", harmonics: "by harmonics", fretted: "one pressed", open: "both open" };

/** Beats a second with the digits a slow beat needs. */
function rate(hz) {
  return hz < 2 ? hz.toFixed(2) : hz.toFixed(1);
}

function does(side) {
  if (side.touched) return `touched over fret ${side.touched}`;
  return side.fret ? `pressed at fret ${side.fret}` : "open";
}

export class PairSheet {
  #state;
  #steps = [];

  constructor(state) {
    this.#state = state;
    this.pulse = new PairPulse();
    this.sides = el("p", { className: "pair-sides" });
    this.beat = el("strong", { id: "pair-beat" });
    this.error = el("span");
    this.leave = el("strong", { id: "pair-leave" });
    this.leaveWords = el("span");
    this.numbers = el(
      "div",
      { className: "numbers pair-numbers" },
      el("p", {}, this.beat, el("span", {}, "beats a second ", this.error)),
      el("p", {}, this.leave, this.leaveWords),
    );
    this.advice = el("p", { className: "bench-more", id: "pair-advice" });
    this.live = el("section", { className: "pair-live" }, this.sides, this.pulse.node, this.numbers, this.advice);
    this.list = el("ol", { className: "tour-steps" });
    this.start = el("p");
    this.ladder = new Ladder((note) => state.noteName(note));
    this.adds = el("p", { className: "soft bench-small" });
    this.fault = faultLine();
    this.asking = new Asking(this.fault, () => this.#update());
    this.again = el("button", { type: "button", className: "main", onclick: () => this.#reopen() }, "listen again");
    this.next = el("button", { type: "button", className: "main", onclick: () => this.#nextStep() }, "next pair");
    this.sheet = new Sheet(
      "Two strings",
      [
        this.live,
        el("h3", {}, "the round"),
        this.start,
        this.list,
        el("h3", {}, "if nothing is left to beat"),
        this.ladder.node,
        this.adds,
        el("h3", {}, "any two strings"),
        this.#form(),
      ],
      [this.fault, el("div", { className: "buttons" }, this.again, this.next)],
    );
    this.ladder.node.classList.add("ladder-small");
    this.sheet.node.classList.add("bench-sheet");
    this.sheet.onClose = () => this.#close();
    state.onChange(() => this.sheet.isOpen && this.#update());
  }

  async open() {
    say(this.fault, "");
    this.sheet.open();
    this.#update();
    const { me } = this.#state;
    if (!me) return;
    try {
      this.#drawTour(await tour(me.id));
      if (!this.#opened && this.#steps.length) await this.#openStep(this.#steps[0]);
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  #form() {
    this.one = el("select", { name: "one" });
    this.other = el("select", { name: "other" });
    this.way = el("select", { name: "way" }, ...Object.entries(WAYS).map(([value, words]) => el("option", { value }, words)));
    return el(
      "form",
      { noValidate: true, className: "pair-form", onsubmit: (event) => this.#submit(event) },
      el("label", {}, el("span", {}, "string"), this.one),
      el("label", {}, el("span", {}, "with"), this.other),
      el("label", {}, el("span", {}, "sounded"), this.way),
      el("button", {}, "listen to these"),
    );
  }

  get #opened() {
    const opened = this.#state.opened(this.#state.me?.id);
    return opened?.kind === "beats" ? opened : null;
  }

  #drawTour(told) {
    const name = (note) => this.#state.noteName(note);
    this.#steps = told.steps;
    say(this.start, `Tune string ${told.start.string} (${name(told.start.note)}) to the reference first; each pair then tunes one string by one that is tuned already.`);
    this.list.replaceChildren(...told.steps.map((step, at) => this.#stepButton(step, at)));
    this.ladder.show(told.beatless.map((each) => ({ ...each, verdict: each.cents < -0.005 ? "tighten" : each.cents > 0.005 ? "slacken" : "in", uncertainty_cents: null })), evenScale(told.worst_cents));
    const left = told.left_out.length ? ` Tuned by itself: string ${told.left_out.join(", ")}.` : "";
    say(this.adds, `Tuned until nothing beats, two strings end up to ${told.worst_cents.toFixed(1)} cents apart from where they belong: so leave what each pair says.${left}`);
    const { me } = this.#state;
    const options = () => me.strings.map((each) => el("option", { value: String(each.string) }, `${each.string}: ${name(each.note)}`));
    this.one.replaceChildren(...options());
    this.other.replaceChildren(...options());
    if (me.strings.length > 1) this.other.selectedIndex = 1;
    this.#update();
  }

  #stepButton(step, at) {
    const name = (side) => `${side.string} (${this.#state.noteName(side.note)}) ${does(side)}`;
    const tuned = step.tuned === step.first.string ? step.first : step.second;
    const other = tuned === step.first ? step.second : step.first;
    const leave = step.leave_hz < 0.005 ? "leave no beat" : `leave ${rate(step.leave_hz)} a second`;
    const button = el(
      "button",
      { type: "button", className: "tour-step", onclick: () => this.#openStep(step) },
      el("strong", {}, String(at + 1)),
      el("span", {}, `string ${name(tuned)}`, el("br"), el("span", { className: "soft" }, `by string ${name(other)}`)),
      el("span", { className: "tour-leave" }, leave),
    );
    return el("li", {}, button);
  }

  #isOpen(step) {
    const pair = this.#opened?.pair;
    return Boolean(pair) && pair.name === step.name && pair.way === step.way && pair.hold === step.hold;
  }

  #update() {
    const { me } = this.#state;
    if (!me) return;
    const opened = this.#opened;
    const reading = opened ? this.#state.beats(me.id) : null;
    this.again.hidden = Boolean(opened) || this.asking.busy;
    this.next.hidden = !opened || !this.#following;
    [...this.list.children].forEach((item, at) => mark(item.firstChild, "open", this.#isOpen(this.#steps[at]) ? "yes" : null));
    const pair = opened?.pair ?? null;
    say(this.sides, pair ? `string ${pair.first.string} ${does(pair.first)}, with string ${pair.second.string} ${does(pair.second)}` : "");
    if (!pair) {
      this.pulse.showNothing(this.asking.busy ? "" : "not listening");
      this.numbers.dataset.state = "silent";
      say(this.advice, "");
      return;
    }
    const target = reading?.leave_hz ?? pair.leave_hz;
    say(this.leave, target < 0.005 ? "none" : rate(target));
    say(this.leaveWords, "to leave");
    if (!reading) {
      this.pulse.showNothing("sound both together and let them ring");
      this.numbers.dataset.state = "silent";
      say(this.beat, "\u2013");
      say(this.error, "");
      say(this.advice, "");
      return;
    }
    this.numbers.dataset.state = "sounding";
    const held = reading.move ?? (pair.hold === pair.second.string ? pair.first.string : pair.second.string);
    this.pulse.show(reading, `string ${held}`);
    say(this.beat, reading.resolved ? rate(reading.beat_hz) : `< ${rate(reading.bound_hz)}`);
    say(this.error, reading.resolved ? `\u00b1${Math.max(reading.uncertainty_hz, 0.01).toFixed(2)}` : "");
    say(this.advice, this.#adviceWords(reading, held));
  }

  #adviceWords(reading, string) {
    if (reading.missing !== null) return `string ${reading.missing} is not heard`;
    if (reading.clipped) return "too loud: turn the line down";
    if (reading.verdict === "in") return "as it should be";
    const [low, high] = reading.either_cents;
    if (reading.verdict && reading.off_cents === null) return `string ${string}: ${reading.verdict}, ${signed(low)} to ${signed(high)} cents`;
    if (reading.verdict) return `string ${string}: ${reading.verdict}, ${signed(reading.off_cents)} cents`;
    return `string ${string} is ${signed(low)} or ${signed(high)} cents off: turn it a little; if it comes nearer to what is to be left, go on`;
  }

  get #following() {
    const at = this.#steps.findIndex((step) => this.#isOpen(step));
    return at < 0 ? null : (this.#steps[at + 1] ?? null);
  }

  #nextStep() {
    if (this.#following) this.#openStep(this.#following);
  }

  #reopen() {
    if (this.#steps.length) this.#openStep(this.#steps[0]);
  }

  #submit(event) {
    event.preventDefault();
    this.#ask({ pair: `${this.one.value}-${this.other.value}`, ...(this.way.value ? { way: this.way.value } : {}) });
  }

  #openStep(step) {
    return this.#ask({ pair: `${step.first.string}-${step.second.string}`, way: step.way, hold: step.hold });
  }

  async #ask(what) {
    const { me } = this.#state;
    if (!me) return;
    await this.asking.ask(
      (code) => openPair(me.id, { ...what, by: this.#state.by }, code),
      (told) => {
        if (!told) return;
        this.#state.setBenchNow(me.id, told);
        this.sheet.body.scrollTop = 0;
      },
    );
  }

  #close() {
    const { me } = this.#state;
    if (me && this.#opened) withCode((code) => closeBench(me.id, this.#state.by, code)).catch(() => {});
  }
}
