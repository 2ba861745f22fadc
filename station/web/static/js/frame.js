// What stands around every view: the reference strip, banners, notices, tabs, spoken text.

import { el, mark, say } from "./dom.js";
import { memory } from "./memory.js";
import { beats, clock, hertz, origin } from "./words.js";

const SPOKEN_EVERY_MS = 2500;
const VIEWS = ["strings", "band", "reference", "songs", "everyone"]; // the last two without a tab
const byId = (id) => document.getElementById(id);

/** What is wrong enough to stand across the page: what concerns the link, whole. */
function linkFaults(state) {
  const lines = [];
  if (state.link === "lost") {
    const since = state.roomAt ? ` What you see was true at ${clock(state.roomAt, true)}.` : "";
    const why = state.full ? `All ${state.full} places for phones are taken.` : "Connection lost.";
    lines.push(`${why}${since} Trying again.`);
  }
  if (state.link === "connecting") lines.push("Connecting to the station.");
  if (state.link === "paused") lines.push("Paused while the page was hidden. Catching up.");
  return lines;
}

/** Likewise what the station tells, which may be long: its beginning; the band's page has it all. */
function stationFaults(station) {
  if (!station) return [];
  const lines = [];
  const { input, banners } = station;
  const why = input.reason ? `: ${input.reason}` : "";
  const device = input.device || "the line input";
  if (input.state === "waiting") lines.push(`Not listening, waiting for ${device}${why}`);
  if (input.state === "failed") lines.push(`Not listening, ${device} failed${why}`);
  return lines.concat(banners);
}

/** What should be known but stops nobody. */
function notices(station) {
  const words = [];
  if (station.quiet) words.push("quiet");
  if (station.simulated) words.push("simulated band, no real input");
  if (station.lamps.state === "off") words.push(`lamps off${station.lamps.reason ? `: ${station.lamps.reason}` : ""}`);
  if (station.tracker_reason) words.push(`${station.tracker} tracker in use: ${station.tracker_reason}`);
  return words.join(" · ");
}

export class Frame {
  #state;
  #spokenAt = 0;
  #spokenTimer = 0;

  constructor(state) {
    this.#state = state;
    window.addEventListener("hashchange", () => this.#showView());
    this.#showView();
    state.onChange((what) => this.#update(what));
    this.#update("link");
  }

  #showView() {
    const wanted = location.hash.slice(1);
    const view = wanted === "station" ? "band" : VIEWS.includes(wanted) ? wanted : VIEWS[0];
    document.documentElement.dataset.view = view;
    for (const each of VIEWS) {
      byId(`view-${each}`).hidden = each !== view;
      if (each === view) byId(`tab-${each}`)?.setAttribute("aria-current", "page");
      else byId(`tab-${each}`)?.removeAttribute("aria-current");
    }
    if (wanted === "station") byId("station").scrollIntoView({ block: "end" });
    else window.scrollTo(0, 0);
  }

  #update(what) {
    this.#speakSoon();
    if (what === "reading") return;
    this.#sayFaults(linkFaults(this.#state), stationFaults(this.#state.room?.station));
    say(byId("strip-note"), this.#state.noteName("A4"));
    const room = this.#state.room;
    if (!room) return;
    document.title = room.station.name;
    say(byId("strip-hz"), hertz(room.reference.a4_hz));
    say(byId("strip-origin"), origin(room.reference));
    const told = notices(room.station);
    say(byId("notices"), told);
    byId("notices").hidden = told === "";
    mark(document.documentElement, "quiet", room.station.quiet ? "yes" : null);
    mark(document.documentElement, "complete", room.roll_call.complete ? "yes" : null);
  }

  #sayFaults(whole, begun) {
    const banners = byId("banners");
    const text = [...whole, "", ...begun].join("\n");
    if (banners.dataset.text === text) return;
    banners.dataset.text = text;
    banners.replaceChildren(
      ...whole.map((line) => el("p", { className: "banner" }, line)),
      ...begun.map((line) => el("a", { className: "banner", href: "#station" }, line)),
    );
  }

  // Screen readers hear a change at most every 2.5 s, and the latest one.
  #speakSoon() {
    if (this.#spokenTimer) return;
    const wait = Math.max(0, this.#spokenAt + SPOKEN_EVERY_MS - performance.now());
    this.#spokenTimer = setTimeout(() => {
      this.#spokenTimer = 0;
      this.#spokenAt = performance.now();
      say(byId("live"), this.#spoken());
    }, wait);
  }

  #spoken() {
    const state = this.#state;
    if (state.link === "lost") return "connection lost";
    if (state.room?.roll_call.complete) return "everyone is in";
    const now = state.now(memory.me);
    if (!now) return "";
    if (now.string === null || !now.verdict) return state.noteName(now.note);
    const rate = now.verdict === "in" ? "" : `, ${beats(now.beats_hz)} beats a second`;
    return `${state.noteName(now.target)}: ${now.verdict}${rate}`;
  }
}
