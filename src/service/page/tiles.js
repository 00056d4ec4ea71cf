// The picture of one image: tiles of the level that the zoom needs, the coarsest level below them until they are there.
import { address, ask } from "./server.js";

const MOST_TILES = 400;

export class Tiles {
  constructor(changed) {
    this.changed = changed;
    this.about = null;
    this.tiles = new Map();
  }

  /** Loads what there is to know of a picture; rejects with the program's words. */
  async open(view, side) {
    const wanted = (this.wanted = `${view}/${side}/${Math.random()}`);
    const { ok, data } = await ask(`api/picture/${view}/${side}`);
    if (wanted !== this.wanted) return false;
    if (!ok) throw new Error(data?.error?.text ?? "the program does not answer");
    if (this.about?.stamp !== data.stamp) { this.tiles.clear(); this.about = data; }
    return true;
  }

  get size() { return this.about?.levels[0] ?? [1, 1]; }

  tile(level, column, row) {
    const key = `${level}/${column}/${row}`;
    let image = this.tiles.get(key);
    if (!image) {
      image = new Image();
      image.onload = () => this.changed();
      image.src = address(`api/tile/${this.about.stamp}/${key}`);
      this.tiles.set(key, image);
      if (this.tiles.size > MOST_TILES) this.tiles.delete(this.tiles.keys().next().value);
    }
    return image.complete && image.naturalWidth ? image : null;
  }

  /** Draws the picture: image point (0, 0) at (x, y), one image pixel `scale` wide, into a window of this size. */
  draw(context, { x, y, scale }, width, height, ratio) {
    if (!this.about) return;
    const levels = this.about.levels;
    const wanted = Math.min(levels.length - 1, Math.max(0, Math.floor(Math.log2(1 / (scale * ratio)) + 0.3)));
    context.imageSmoothingEnabled = scale * ratio < 3;
    for (const level of new Set([levels.length - 1, wanted])) this.drawLevel(context, level, { x, y, scale }, width, height);
  }

  drawLevel(context, level, { x, y, scale }, width, height) {
    const [w, h] = this.about.levels[level], [fullW, fullH] = this.size, side = this.about.tile;
    // Odd sizes are halved upwards: each level has its own exact ratio.
    const sx = (scale * fullW) / w, sy = (scale * fullH) / h;
    const first = (from, s) => Math.max(0, Math.floor(-from / s / side));
    const end = (from, s, window, size) => Math.min(Math.ceil(size / side), Math.ceil((window - from) / s / side));
    for (let row = first(y, sy); row < end(y, sy, height, h); row += 1) {
      for (let column = first(x, sx); column < end(x, sx, width, w); column += 1) {
        const image = this.tile(level, column, row);
        if (!image) continue;
        context.drawImage(image, x + column * side * sx, y + row * side * sy, image.naturalWidth * sx, image.naturalHeight * sy);
      }
    }
  }
}
