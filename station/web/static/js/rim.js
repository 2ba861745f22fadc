// The unrolled rim: a head's lugs side by side in clockwise order, each at the height of its
// pitch around the mean line, with how sure that is.

import { el, mark, say } from "./dom.js";
import { lugWords, offsetWords } from "./head_words.js";
import { shape } from "./shapes.js";
import { signed } from "./words.js";

const TICKS = [-100, -30, -10, 10, 30, 100];
const NEAR_CENTS = 6; // up to here the height goes evenly, then by ever larger steps
const FAR_CENTS = 150;
const IN_CENTS = 2; // while a round goes on the station says no word yet

/** From -1 (bottom) to 1 (top). */
export function rimHeight(cents) {
  const height = Math.asinh(cents / NEAR_CENTS) / Math.asinh(FAR_CENTS / NEAR_CENTS);
  return Math.min(Math.max(height, -1), 1);
}

function wordOf(heard) {
  if (heard.verdict) return heard.verdict;
  if (Math.abs(heard.offset_cents) <= IN_CENTS) return "in";
  return heard.offset_cents < 0 ? "tighten" : "slacken";
}

class LugMark {
  constructor(lug) {
    this.lug = lug;
    this.shape = shape("lug-shape");
    this.doubt = el("span", { className: "lug-doubt" });
    this.cents = el("span", { className: "lug-cents" });
    this.taps = el("span", { className: "lug-taps" });
    this.spoken = el("span", { className: "only-spoken" });
    this.number = el("strong", { className: "lug-number" }, String(lug));
    this.node = el("li", { className: "lug" }, el("span", { className: "lug-field" }, this.doubt, this.shape.node, this.cents), this.taps, this.number, this.spoken);
  }

  update(head, heard) {
    const { lug } = this;
    const next = head.tap_next === lug ? "tap" : head.turn_next?.lug === lug ? "turn" : null;
    mark(this.node, "next", next);
    mark(this.node, "heard", heard ? "yes" : null);
    mark(this.node, "verdict", heard ? wordOf(heard) : null);
    say(this.spoken, lugWords(heard, lug));
    const taken = Math.min(head.taken[lug - 1] ?? 0, 4);
    say(this.taps, head.tap_next === null ? "" : "\u2022".repeat(taken));
    if (!heard) {
      say(this.cents, "");
      return;
    }
    this.shape.set(wordOf(heard));
    say(this.cents, offsetWords(heard));
    const { offset_cents: at, uncertainty_cents: sigma } = heard;
    this.node.style.setProperty("--height", rimHeight(at).toFixed(4));
    this.node.style.setProperty("--top", rimHeight(at + sigma).toFixed(4));
    this.node.style.setProperty("--bottom", rimHeight(at - sigma).toFixed(4));
    mark(this.node, "side", at < 0 ? "below" : "above");
  }
}

export class Rim {
  #marks = [];

  constructor() {
    this.list = el("ol", { className: "lugs" });
    this.node = el(
      "div",
      { className: "rim" },
      el("div", { className: "rim-scale", "aria-hidden": "true" }, ...TICKS.map((cents) => this.#tick(cents)), el("span", { className: "rim-mean" }, "mean")),
      this.list,
    );
  }

  update(head) {
    if (this.#marks.length !== head.lugs) {
      this.#marks = Array.from({ length: head.lugs }, (_, at) => new LugMark(at + 1));
      this.list.replaceChildren(...this.#marks.map((each) => each.node));
      this.node.style.setProperty("--lugs", head.lugs);
      mark(this.node, "many", head.lugs > 8 ? "yes" : null);
    }
    const heard = new Map(head.heard.map((each) => [each.lug, each]));
    for (const each of this.#marks) each.update(head, heard.get(each.lug));
  }

  #tick(cents) {
    const node = el("span", { className: "rim-tick" }, signed(cents, 0));
    node.style.setProperty("--height", rimHeight(cents).toFixed(4));
    return node;
  }
}
