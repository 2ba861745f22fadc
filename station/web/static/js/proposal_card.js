// One proposal: what is asked, why, who has said what, and the buttons to answer.

import { el, mark, say } from "./dom.js";
import { listed } from "./proposing.js";
import { hertz, signed } from "./words.js";

/** Who decides and who has said what, by name. */
function whoWords(state, proposal) {
  const { decides, leader } = state.room.agreement;
  const words = [];
  if (decides === "leader" && leader) words.push(leader === state.me?.id ? "you decide" : `${state.player(leader)?.name ?? leader} decides`);
  const awaited = proposal.waiting_for.filter((id) => !proposal.not_yet.includes(id) && !(decides === "leader" && id === leader));
  for (const [word, ids] of [["yes", proposal.yes], ["not yet", proposal.not_yet], ["awaited", awaited]]) {
    if (ids.length) words.push(`${word}: ${listed(state.named(ids))}`);
  }
  return words.join(" · ");
}

function answerOf(proposal, me) {
  if (!me) return null;
  if (proposal.yes.includes(me.id)) return "yes";
  return proposal.not_yet.includes(me.id) ? "not yet" : null;
}

export class ProposalCard {
  /** `onAnswer(word)` gets "yes", "not yet" or "withdraw". */
  constructor(onAnswer) {
    this.who = el("p", { className: "ask-by" });
    this.note = el("span");
    this.pitch = el("strong", { className: "ask-hz" });
    this.cents = el("span", { className: "ask-cents" });
    this.why = el("p", { className: "ask-why" });
    this.answers = el("p", { className: "ask-who" });
    this.buttons = {};
    for (const word of ["withdraw", "not yet", "yes"]) {
      const name = word === "yes" ? "main" : "";
      this.buttons[word] = el("button", { type: "button", className: name, onclick: () => onAnswer(word) }, word);
    }
    this.node = el(
      "article",
      { className: "ask" },
      el("div", { className: "ask-head" }, this.who, el("p", { className: "ask-what" }, this.note, this.pitch, " ", this.cents)),
      el("div", { className: "ask-rest" }, this.why, this.answers),
      el("div", { className: "ask-buttons" }, ...Object.values(this.buttons)),
    );
  }

  update(state, proposal) {
    const { me } = state;
    const mine = me !== null && proposal.by === me.id;
    const answer = answerOf(proposal, me);
    say(this.who, mine ? "you propose" : `${proposal.by_name} proposes`);
    say(this.note, `${state.noteName("A4")} = `);
    say(this.pitch, hertz(proposal.a4_hz));
    say(this.cents, `(${signed(proposal.cents)} cents)`);
    say(this.why, proposal.reason);
    this.why.hidden = proposal.reason === "" || proposal.reason === proposal.kind;
    say(this.answers, whoWords(state, proposal));
    mark(this.node, "side", proposal.cents < 0 ? "below" : "above");
    mark(this.node, "answer", me ? (answer ?? "none") : null);
    this.buttons.withdraw.hidden = !mine;
    this.buttons.yes.hidden = !me || answer === "yes";
    this.buttons["not yet"].hidden = !me || mine || answer === "not yet";
  }

  set isSending(sending) {
    for (const button of Object.values(this.buttons)) button.disabled = sending;
  }
}
