// Which mark a pen has drawn at a place: the lines of a look, turned and scaled, in its colours.
export function placed(look, [x, y], scale, turn) {
  const by = look.turn ? turn : 0;
  const at = ([u, v]) => [x + scale * (u * Math.cos(by) - v * Math.sin(by)), y + scale * (u * Math.sin(by) + v * Math.cos(by))];
  return look.strokes.map((stroke) => stroke.map(at));
}

const near = (a, b) => a.length === b.length && a.every((point, k) => Math.hypot(point[0] - b[k][0], point[1] - b[k][1]) < 0.01);

// Whether the look was drawn there: every line of it as a stroke in its ink, and filled where it is solid.
export function isDrawn(pen, look, at, scale, turn = 0) {
  return placed(look, at, scale, turn).every((points) => {
    const has = (what, colour) => pen.drawn.some((one) => one.what === what && one.colour === colour && near(one.points, points));
    return has("stroke", look.ink) && (!look.solid || has("fill", look.fill));
  });
}

// The keys of the looks that are drawn at a place.
export const marksAt = (pen, looks, at, scale, turn = 0) => Object.keys(looks).filter((key) => isDrawn(pen, looks[key], at, scale, turn));
