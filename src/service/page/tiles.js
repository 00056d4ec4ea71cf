// The picture of one image: tiles of the level that the zoom needs, the coarsest level below them until they are there.
import { address, ask } from "./server.js";

const MOST_TILES = 400;

export class Tiles {
  constructor(changed, root = "api/tile") {
    this.changed = changed;
    this.root = root;
    this.about = null;
    this.tiles = new Map();
    /** The picture that was shown until now, while the tiles of this one are on their way. */
    this.before = null;
    /** While a picture is turned its coarsest tiles alone are asked for. */
    this.isCoarse = false;
  }

  /** Loads what there is to know of a picture; rejects with the program's words. */
  async open(path) {
    const wanted = (this.wanted = {});
    const { ok, data } = await ask(path);
    if (wanted !== this.wanted) return false;
    if (!ok) throw new Error(data?.error?.text ?? "the program does not answer");
    this.take(data);
    return true;
  }

  /** Shows this picture from now on; the one before until its tiles are there. */
  take(about) {
    if (this.about?.stamp === about.stamp) return;
    const isAlike = String(this.about?.levels) === String(about.levels);
    this.before = isAlike ? { about: this.about, tiles: this.tiles } : null;
    this.tiles = new Map();
    this.about = about;
  }

  /** Whether tiles are on their way. */
  isLoading() { return [...this.tiles.values()].some((image) => !image.complete); }

  /** Shows nothing; what is on its way is not waited for. */
  leave() { this.wanted = null; this.about = null; }

  /** Width and height in its own pixels; tiles may be finer. */
  get size() { return this.about?.size ?? this.about?.levels[0] ?? [1, 1]; }

  /** A tile of a picture, once it is there; `isAsking` for those that are not. */
  tile({ about, tiles }, key, isAsking) {
    let image = tiles.get(key);
    if (!image && !isAsking) return null;
    if (!image) {
      image = new Image();
      image.onload = image.onerror = () => this.changed();
      image.src = address(`${this.root}/${about.stamp}/${key}`);
      tiles.set(key, image);
      if (tiles.size > MOST_TILES) tiles.delete(tiles.keys().next().value);
    }
    return image.complete && image.naturalWidth ? image : null;
  }

  /** Draws the picture: image point (0, 0) at (x, y), one image pixel `scale` wide, into a window of this size. */
  draw(context, { x, y, scale }, width, height, ratio) {
    if (!this.about) return;
    const { levels } = this.about, finer = levels[0][0] / this.size[0];
    const wanted = this.isCoarse ? levels.length - 1 : Math.min(levels.length - 1, Math.max(0, Math.floor(Math.log2(finer / (scale * ratio)) + 0.3)));
    context.imageSmoothingEnabled = (scale * ratio) / finer < 3;
    const window = [{ x, y, scale }, width, height];
    if (this.before) this.drawLevel(this.before, context, wanted, window, false);
    let isWhole = true;
    for (const level of new Set([levels.length - 1, wanted])) {
      // What was there before is sharper than the coarsest level of what comes.
      if (level !== wanted && this.before) continue;
      isWhole = this.drawLevel(this, context, level, window, true);
    }
    if (isWhole) this.before = null;
  }

  /** Whether all tiles were there. */
  drawLevel(picture, context, level, [{ x, y, scale }, width, height], isAsking) {
    const [w, h] = picture.about.levels[level], [fullW, fullH] = this.size, side = picture.about.tile;
    // Odd sizes are halved upwards: each level has its own exact ratio.
    const sx = (scale * fullW) / w, sy = (scale * fullH) / h;
    const first = (from, s) => Math.max(0, Math.floor(-from / s / side));
    const end = (from, s, window, size) => Math.min(Math.ceil(size / side), Math.ceil((window - from) / s / side));
    let isWhole = true;
    for (let row = first(y, sy); row < end(y, sy, height, h); row += 1) {
      for (let column = first(x, sx); column < end(x, sx, width, w); column += 1) {
        const image = this.tile(picture, `${level}/${column}/${row}`, isAsking);
        if (image) context.drawImage(image, x + column * side * sx, y + row * side * sy, image.naturalWidth * sx, image.naturalHeight * sy);
        else isWhole = false;
      }
    }
    return isWhole;
  }
}
