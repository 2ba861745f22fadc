// On a line that several players share: whose turn it is, and mine to take or to hand on.

import { handOn, takeTurn } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";

const SOON_S = 20;
const PLACES = ["next", "second", "third", "fourth"];

export class TurnBar {
  #state;

  constructor(root, state) {
    this.#state = state;
    this.words = el("p", { className: "turn-words", role: "status" });
    this.button = el("button", { type: "button", onclick: () => this.#ask() });
    this.fault = el("p", { className: "fault", role: "alert" });
    this.asking = new Asking(this.fault);
    this.node = el("section", { className: "turn-bar", "aria-label": "turns", hidden: true }, this.words, this.button, this.fault);
    root.append(this.node);
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  get #line() {
    const { me, room } = this.#state;
    return room.turns?.find((line) => me && line.players.includes(me.id)) ?? null;
  }

  get #mine() {
    const { me } = this.#state;
    const line = this.#line;
    return line.turn === me.id ? "turn" : line.waiting.includes(me.id) ? "waiting" : "none";
  }

  #update() {
    const line = this.#line;
    this.node.hidden = !line;
    if (!line) return;
    const mine = this.#mine;
    mark(this.node, "mine", mine);
    say(this.words, this.#say(line, mine));
    say(this.button, { turn: "hand on", waiting: "wait no longer", none: line.turn ? "wait for it" : "take the turn" }[mine]);
  }

  #say(line, mine) {
    const name = (id) => this.#state.player(id)?.name ?? id;
    const waits = line.waiting.length;
    if (mine === "turn") {
      const next = waits ? `${name(line.waiting[0])} waits` : "nobody waits";
      const ends = line.ends_in_s < SOON_S ? `, ends in ${Math.ceil(line.ends_in_s)} s` : "";
      return `Your turn: ${next}${ends}`;
    }
    if (!line.turn) return `Line ${line.line} is shared`;
    const place = line.waiting.indexOf(this.#state.me.id);
    const mineIs = place < 0 ? "" : `, you are ${PLACES[place] ?? `number ${place + 1}`}`;
    return `${name(line.turn)} has the turn${mineIs}`;
  }

  async #ask() {
    const act = this.#mine === "none" ? takeTurn : handOn;
    await this.asking.ask((code) => act(this.#state.me.id, this.#state.by, code));
  }
}
