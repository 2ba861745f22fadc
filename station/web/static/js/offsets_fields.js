// Choosing what a player's strings aim at: equal temperament, pure fifths, or cents of
// their own for each string.

import { el, say } from "./dom.js";
import { centsFrom } from "./offsets.js";
import { signed } from "./words.js";

const EQUAL = "none";
const OWN = "own";
const CHOICES = {
  [EQUAL]: "equal temperament",
  "pure fifths": "pure fifths (violin family)",
  [OWN]: "own cents for each string",
};

export class OffsetsFields {
  #state;
  #player = null;
  #inputs = new Map(); // string number -> input

  constructor(state) {
    this.#state = state;
    this.select = el("select", { name: "offsets", onchange: () => this.#show() },
      ...Object.entries(CHOICES).map(([value, words]) => el("option", { value }, words)));
    this.choice = el("label", {}, el("span", {}, "targets"), this.select);
    this.told = el("p", { className: "soft" });
    this.each = el("div", { className: "own-offsets", role: "group", "aria-label": "cents from equal temperament" });
    this.node = el("div", { className: "offsets" }, this.choice, this.told, this.each);
  }

  open(player) {
    this.#player = player;
    const label = player.offsets_label ?? "";
    this.select.value = label === "" ? EQUAL : label in CHOICES ? label : OWN;
    this.#inputs.clear();
    this.each.replaceChildren(...player.strings.map((string) => this.#row(string)));
    this.#show();
  }

  /** Strings of another tuning are not these: their offsets wait until it is chosen. */
  set isForOtherStrings(other) {
    this.node.hidden = other || this.#player.strings.length === 0;
  }

  /** What the station shall be told, undefined where nothing has changed; NaN in it is refused here. */
  get change() {
    if (this.node.hidden) return undefined;
    if (this.select.value !== OWN) {
      return this.select.value === (this.#player.offsets_label || EQUAL) ? undefined : this.select.value;
    }
    const own = {};
    for (const [string, input] of this.#inputs) {
      const cents = centsFrom(input.value);
      if (Number.isNaN(cents)) throw new Error(`"${input.value.trim()}" is no number of cents: write +2 or -3.9`);
      if (cents) own[string] = cents;
    }
    const before = this.#player.offsets_cents ?? {};
    const isSame = this.#player.offsets_label === OWN && JSON.stringify(sorted(own)) === JSON.stringify(sorted(before));
    return isSame ? undefined : own;
  }

  #row(string) {
    const value = string.offset_cents ? signed(string.offset_cents, 3).replace(/\.?0+$/, "") : "";
    const input = el("input", { value, autocomplete: "off", maxLength: 12, placeholder: "0" });
    this.#inputs.set(String(string.string), input);
    return el("label", {}, el("span", {}, this.#state.noteName(string.note)), input);
  }

  #show() {
    const isOwn = this.select.value === OWN;
    this.each.hidden = !isOwn;
    say(this.told, isOwn ? "cents from equal temperament, + is sharper" : "");
    this.told.hidden = !isOwn;
  }
}

function sorted(offsets) {
  return Object.entries(offsets).map(([string, cents]) => [string, cents]).sort(([a], [b]) => Number(a) - Number(b));
}
