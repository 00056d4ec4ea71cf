// Marks that the program offers: well seen places of the render that tell most, part by part; taken, moved or skipped.
import * as a from "./actions.js";
import { toReference } from "./laid.js";
import { ask } from "./server.js";

/** What belongs to offered marks in the app: added to it. */
export const offering = {
  proposals: [], wanting: [], isOffering: true, offerName: "",

  /** The marks that are offered for the part that is chosen. */
  offers() {
    if (!this.isOffering || this.tool !== "mark") return [];
    const taken = a.names(this.state(), this.view);
    return this.proposals.filter((p) => (!this.part || p.part === this.part) && !taken.includes(p.name));
  },

  /** The one that Enter takes; none while another mark is begun. */
  offered() {
    if (this.single() || this.selection?.kind === "region" || a.carriedOf(this.state(), this.view)) return null;
    const all = this.offers();
    return all.find((p) => p.name === this.offerName) ?? all[0] ?? null;
  },

  /** Asks what is to be marked next, once the program has all changes. */
  async propose() {
    const index = a.viewIndex(this.state(), this.view), wanted = (this.wantedOffers = {});
    if (index < 0 || (this.isAlone() && !this.isOnModel()) || !this.isOffering || a.hasPlaceholders(this.state(), this.view)) { this.proposals = []; this.wanting = []; return; }
    const { ok, data } = await ask(`api/proposals/${index}`);
    if (wanted !== this.wantedOffers || this.pending.length) return;
    // The one that is looked at stays the first.
    const list = ok ? data.proposals ?? [] : [], first = list.findIndex((p) => p.name === this.offerName);
    if (first > 0) list.unshift(...list.splice(first, 1));
    this.proposals = list;
    this.wanting = ok ? data.parts ?? [] : [];
    this.show();
    if (!this.selection) this.showOffered();
  },

  chooseOffer(offer) {
    this.flush();
    this.selection = null;
    this.offerName = offer.name;
    this.show();
    this.showOffered();
  },

  /** Moves the picture to what is offered. */
  showOffered() {
    const offer = this.offered(), pane = this.mainPane();
    if (!offer || this.tool !== "mark") return;
    if (this.isOnModel()) return this.reference.show(offer.reference.place, 0, 80);
    if (pane.side !== "reference") pane.show(offer.render, 0, 80);
    else if (offer.reference) pane.show(offer.reference.place, 0, 80);
  },

  isNearOffer(pane, point) {
    const offer = this.offered(), [x, y] = pane.toScreen(point);
    const reach = Math.max(this.OFFER_REACH, offer.model_mm ? offer.reference.half_axes[0] * pane.view.scale : 0);
    const places = [pane.side !== "reference" && offer.render, this.isSeen(pane, "reference") && offer.reference && this.inPicture(pane, "reference", offer.reference.place)];
    return places.some((p) => { if (!p) return false; const [px, py] = pane.toScreen(p); return Math.hypot(px - x, py - y) <= reach; });
  },

  /** Makes the offered mark one of the job's; where `side` is told, with this place in that image. */
  takeOffered(side, native) {
    const offer = this.offered();
    if (!offer) return;
    // A mark that only repeats what was expected would say that the part is right, whatever it is.
    const isFound = offer.reference?.refined, map = this.fit()?.map;
    if (offer.reference && !isFound && !side) return this.say(`The reference does not tell the place of "${offer.name}" surely: click the point itself in the ring, or in its cell of the strip.`);
    const place = { render: offer.render, reference: isFound ? offer.reference.place : undefined };
    // Where the registration alone tells the place, it still is where the render's mark falls.
    if (!place.reference && map && offer.render && side === "reference") place.reference = toReference(map, offer.render);
    if (side) place[side] = native;
    this.selection = null;
    this.pass(offer);
    if (!offer.render) {
      this.change(a.takePredicted(this.view, offer, place.reference));
      this.say(`${offer.name} is a landmark.`);
      return this.showOffered();
    }
    if (!place.reference) {
      this.selection = { kind: "mark", name: offer.name };
      this.change(a.begin(this.view, offer.name, offer.use, "render", place.render, offer));
      return this.awaitPrediction(offer.name, "reference");
    }
    this.change(a.takeOffer(this.view, offer, place.render, place.reference));
    if (!offer.model_mm) this.tellPlace(offer.name);
    this.say(`${offer.name} is a landmark.`);
    this.showOffered();
  },

  skipOffered() {
    const offer = this.offered();
    if (!offer) return;
    this.pass(offer);
    this.change(a.skipOffer(this.view, offer));
    this.showOffered();
  },

  /** Offers a mark no more, and the next one in its place. */
  pass(offer) {
    const all = this.offers(), next = all[all.indexOf(offer) + 1] ?? all[0];
    this.offerName = next?.name ?? "";
    this.proposals = this.proposals.filter((p) => p !== offer);
  },

  /** The part that new marks belong to and that is shown; "\n" draws a new one. */
  choosePart(name) {
    if (name === "\n") { this.part = ""; this.setTool("region"); return; }
    this.part = name;
    this.offerName = "";
    this.selection = null;
    const outline = name && this.region(name)?.outline;
    if (outline) this.mainPane().show(outline[0], 0, 100);
    this.show();
    this.showOffered();
  },
};
