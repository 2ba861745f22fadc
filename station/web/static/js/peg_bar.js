// Once a string has come in that was turned to another note: how far did its peg go? One touch
// answers, none is needed; the question goes by itself.

import { tellPeg } from "./api.js";
import { el, say } from "./dom.js";
import { quarterWords } from "./peg_words.js";
import { withCode } from "./room_code.js";

const QUARTERS = 12;

export class PegBar {
  #state;
  #asking = false;

  constructor(root, state) {
    this.#state = state;
    this.words = el("p", { className: "peg-words" });
    const not = el("button", { type: "button", className: "peg-not", onclick: () => this.#answer(0) }, "not now");
    const choices = Array.from({ length: QUARTERS }, (_, place) =>
      el("button", { type: "button", "aria-label": `${quarterWords(place + 1)} of a turn`, onclick: () => this.#answer(place + 1) }, quarterWords(place + 1)),
    );
    this.choices = el("div", { className: "peg-choices", role: "group", "aria-label": "turns of the peg" }, ...choices);
    this.fault = el("p", { className: "fault", role: "alert" });
    this.node = el("section", { className: "peg-bar", "aria-label": "how far the peg went", hidden: true }, this.words, not, this.choices, this.fault);
    root.append(this.node);
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  get #asked() {
    const { me, room } = this.#state;
    return (me && room.pegs?.[me.id]) ?? null;
  }

  #update() {
    const asked = this.#asked;
    const was = this.node.hidden ? "" : this.words.textContent;
    this.node.hidden = !asked;
    if (!asked) return;
    say(this.words, `string ${asked.string}: how many turns?`);
    if (was === this.words.textContent) return;
    this.choices.scrollLeft = 0;
    say(this.fault, "");
  }

  async #answer(quarters) {
    const asked = this.#asked;
    if (this.#asking || !asked) return;
    this.#asking = true;
    say(this.fault, "");
    try {
      await withCode((code) => tellPeg(this.#state.me.id, asked.string, quarters, this.#state.by, code));
    } catch (error) {
      say(this.fault, error.message);
    } finally {
      this.#asking = false;
    }
  }
}
