// What was learned of my pegs, to look at and to forget; nothing where there is nothing.

import { askPegs, forgetPegs, pegs } from "./api.js";
import { el, say } from "./dom.js";
import { turnWords } from "./peg_words.js";
import { withCode } from "./room_code.js";
import { count } from "./words.js";

export class PegFields {
  #state;
  #player = null;

  constructor(state) {
    this.#state = state;
    this.list = el("ul");
    this.forget = el("button", { type: "button", onclick: () => this.#change((code) => forgetPegs(this.#player.id, this.#state.by, code)) }, "forget them");
    this.asks = el("button", { type: "button" });
    this.fault = el("p", { className: "fault", role: "alert" });
    this.node = el("section", { className: "peg-fields", "aria-label": "pegs", hidden: true }, el("h3", {}, "Pegs"), this.list, this.fault, el("div", { className: "setups" }, this.forget, this.asks));
  }

  async open(player) {
    this.#player = player;
    this.node.hidden = true;
    say(this.fault, "");
    if (player.kind !== "strings") return;
    const told = await pegs(player.id);
    if (player === this.#player) this.#draw(told);
  }

  #draw({ asks, strings }) {
    this.node.hidden = asks && strings.length === 0;
    this.forget.hidden = strings.length === 0;
    say(this.asks, asks ? "do not ask me" : "ask me again");
    this.asks.onclick = () => this.#change((code) => askPegs(this.#player.id, !asks, this.#state.by, code));
    this.list.replaceChildren(...strings.map((each) => el("li", {}, this.#words(each))));
  }

  #words({ string, reports, semitone }) {
    const known = semitone ? `a semitone down is ${turnWords(semitone)}` : "not known yet";
    return `string ${string}: ${known} (${count(reports, "answer")})`;
  }

  async #change(act) {
    say(this.fault, "");
    try {
      const told = await withCode(act);
      if (told) this.#draw(told);
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
