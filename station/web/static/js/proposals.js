// The open proposals, above the tabs on every view: a player who looks at the strings
// is reached too. What has just been agreed is told in the same place for a while.

import { answerProposal, withdrawProposal } from "./api.js";
import { el, say } from "./dom.js";
import { memory } from "./memory.js";
import { ProposalCard } from "./proposal_card.js";
import { agreedWords } from "./proposing.js";
import { withCode } from "./room_code.js";
import { hertz, NOBODY } from "./words.js";

const TOLD_MS = 9000;

/** What is told of a reference that has just come into force. */
function newsOf(before, now, noteName) {
  const hz = `${hertz(now.a4_hz)} Hz`;
  // What is gone back to keeps the time it was first set at.
  const isOlder = Date.parse(now.set_at) < Date.parse(before.set_at);
  if (now.a4_hz === before.undo_hz && (isOlder || now.undo_hz !== before.a4_hz)) return `back to ${hz}`;
  if (now.agreed.length) return agreedWords(now.a4_hz);
  const by = now.by && now.by !== NOBODY ? `, set by ${now.by}` : "";
  return `${noteName("A4")} = ${hz}${by}: the roll call starts again`;
}

export class Proposals {
  #state;
  #cards = new Map();
  #reference = null;
  #timer = 0;

  constructor(root, state) {
    this.#state = state;
    this.cards = el("div", { className: "asks" });
    this.told = el("p", { className: "ask-told ask-news", role: "status", hidden: true });
    this.fault = el("p", { className: "ask-told ask-fault", role: "alert", hidden: true });
    root.append(this.fault, this.cards, this.told);
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  #update() {
    const { room } = this.#state;
    this.#tellNews(room.reference);
    const { proposals } = room.agreement;
    for (const [id, card] of this.#cards) {
      if (proposals.some((each) => each.id === id)) continue;
      card.node.remove();
      this.#cards.delete(id);
    }
    for (const proposal of proposals) {
      if (!this.#cards.has(proposal.id)) {
        const card = new ProposalCard((word) => this.#send(card, proposal.id, word));
        this.#cards.set(proposal.id, card);
        this.cards.append(card.node);
      }
      this.#cards.get(proposal.id).update(this.#state, proposal);
    }
  }

  #tellNews(reference) {
    const before = this.#reference;
    this.#reference = reference;
    if (!before || (before.set_at === reference.set_at && before.a4_hz === reference.a4_hz)) return;
    this.#tell(this.told, newsOf(before, reference, (note) => this.#state.noteName(note)));
  }

  #tell(line, words) {
    clearTimeout(this.#timer);
    for (const each of [this.told, this.fault]) {
      say(each, each === line ? words : "");
      each.hidden = each !== line;
    }
    this.#timer = setTimeout(() => {
      line.hidden = true;
      say(line, "");
    }, TOLD_MS);
  }

  async #send(card, id, word) {
    const me = memory.me;
    const act = word === "withdraw" ? (code) => withdrawProposal(id, me, code) : (code) => answerProposal(id, me, word, code);
    card.isSending = true;
    try {
      await withCode(act);
    } catch (error) {
      this.#tell(this.fault, error.message);
    } finally {
      card.isSending = false;
    }
  }
}
