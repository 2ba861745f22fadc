// Between instruments that disagree: two rules to find a reference, and what each
// instrument would be off with it.

import { sideOf } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { proposeIt } from "./proposing.js";
import { shape } from "./shapes.js";
import { faultLine, Sheet } from "./sheet.js";
import { beats, hertz } from "./words.js";

const VERDICT = { below: "tighten", above: "slacken", in: "in" };
const RULES = {
  worst: ["worst error least", (found) => `no instrument is further off than ${found.worst_cents.toFixed(1)} cents`],
  mean: ["mean", (found) => `least off on the whole; the worst is off by ${found.worst_cents.toFixed(1)} cents`],
};

/** "2.1 cents sharp, a held A beats 0.5 a second". */
function offWords({ cents, beats_hz }, a) {
  const size = Math.abs(cents).toFixed(1);
  if (Number(size) === 0) return "not off";
  return `${size} cents ${cents < 0 ? "flat" : "sharp"}, a held ${a} beats ${beats(Math.abs(beats_hz))} a second`;
}

export class CompromiseSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.fault = faultLine();
    this.rules = el("div", { className: "rules" });
    this.sheet = new Sheet("Compromise", [this.rules], [this.fault]);
  }

  open() {
    say(this.fault, "");
    this.sheet.open();
    this.update();
  }

  update() {
    if (!this.sheet.isOpen) return;
    const { compromise } = this.#state.room;
    if (!compromise) {
      this.sheet.close(); // fewer than two instruments are left
      return;
    }
    const key = JSON.stringify([compromise, this.#state.noteName("A4")]);
    if (this.rules.dataset.drawn === key) return;
    this.rules.dataset.drawn = key;
    this.rules.replaceChildren(...Object.keys(RULES).map((rule) => this.#ruleNode(rule, compromise[rule])));
  }

  #ruleNode(rule, found) {
    const [name, describe] = RULES[rule];
    const ask = () => this.#propose(rule, found.a4_hz);
    const fromTheTop = [...found.instruments].sort((a, b) => b.cents - a.cents);
    return el(
      "section",
      { className: "rule" },
      el("h3", {}, el("span", {}, name), el("strong", {}, `${hertz(found.a4_hz)} Hz`)),
      el("p", { className: "soft" }, describe(found)),
      el("ul", {}, ...fromTheTop.map((each) => this.#offNode(each))),
      el("button", { type: "button", className: "main", onclick: ask }, `propose ${hertz(found.a4_hz)}`),
    );
  }

  #offNode(each) {
    const side = sideOf(each.cents, this.#state.room.station.in_cents);
    const seed = shape("off-seed");
    seed.set(VERDICT[side]);
    const node = el("li", {}, seed.node, el("div", {}, el("strong", {}, each.name), el("span", {}, offWords(each, this.#state.noteName("A")))));
    mark(node, "side", side);
    return node;
  }

  async #propose(rule, hz) {
    say(this.fault, "");
    try {
      if (await proposeIt(this.#state, { kind: "compromise", rule }, hz)) this.sheet.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
