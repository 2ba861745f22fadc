// The page's beginning: state, views, stream.

import { BandView } from "./band_view.js";
import { EveryoneView } from "./everyone_view.js";
import { Frame } from "./frame.js";
import { GapBar } from "./gap_bar.js";
import { PegBar } from "./peg_bar.js";
import { Proposals } from "./proposals.js";
import { ReferenceView } from "./reference_view.js";
import { SongBar } from "./song_bar.js";
import { SongsView } from "./songs_view.js";
import { State } from "./state.js";
import { Stream } from "./stream.js";
import { StringsView } from "./strings_view.js";
import { TurnBar } from "./turn_bar.js";
import { UnderWay } from "./under_way.js";

const state = new State();
new StringsView(document.getElementById("view-strings"), state);
new BandView(document.getElementById("view-band"), state);
new ReferenceView(document.getElementById("view-reference"), state);
new SongsView(document.getElementById("view-songs"), state);
new EveryoneView(document.getElementById("view-everyone"), state);
new Proposals(document.getElementById("asks"), state);
new UnderWay(document.getElementById("asks"), state);
new GapBar(document.getElementById("band-bars"), state);
new PegBar(document.getElementById("band-bars"), state);
new TurnBar(document.getElementById("band-bars"), state);
new SongBar(document.getElementById("band-bars"), state);
new Frame(state);
new Stream(state);

// Browsers allow service workers on https and on the phone itself only; over plain
// http the page works the same but needs the station to load.
if ("serviceWorker" in navigator && window.isSecureContext) {
  navigator.serviceWorker.register("/service-worker.js", { type: "classic" }).catch((error) => {
    console.warn("the page will not open offline:", error.message);
  });
}
