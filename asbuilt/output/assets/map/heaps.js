/* Pins that lie close together become one heap with their number, on a grid, so that ten thousand cost no more than one. */
"use strict";
asbuilt.heaps = (() => {
  const { data, map, toLatLng } = asbuilt;
  const APART = 68; // pixels between two heaps: a thumb, and the width of a heap with its number
  const SIDE = 256; // pixels of the world at zoom 0, as Leaflet counts
  const ranks = new Map(data.groups.map((group, rank) => [group.key, rank]));
  const rank = (pin) => ranks.get(pin.group);

  // Where a pin lies in pixels of zoom 0 is reckoned once; any other zoom is a factor. The most urgent begin a heap.
  const placed = data.pins.filter((pin) => pin.at).map((pin) => {
    const where = toLatLng(pin.at);
    return { pin, where, at: map.options.crs.latLngToPoint(where, 0) };
  }).sort((a, b) => rank(a.pin) - rank(b.pin));
  let kept = { key: "", heaps: [] };

  /** All heaps at a zoom, of the pins that are shown; kept until one of the two changes. */
  function at(zoom, isShown) {
    const key = `${zoom} ${data.groups.map((group) => isShown(group.key))}`;
    if (kept.key !== key) kept = { key, heaps: gather(zoom, isShown) };
    return kept.heaps;
  }

  /** Each pin joins the first heap that began less than a thumb away. */
  function gather(zoom, isShown) {
    const scale = 2 ** zoom;
    const cells = new Map(); // heaps by square, so that a pin looks at nine squares and not at all heaps
    const columns = Math.ceil((SIDE * scale) / APART) + 3;
    const found = [];
    for (const { pin, where, at: { x, y } } of placed) {
      if (!isShown(pin.group)) continue;
      const [px, py] = [x * scale, y * scale];
      const cell = Math.floor(px / APART) + columns * Math.floor(py / APART);
      const heap = data.clustered ? near(cells, columns, cell, px, py) : null;
      if (heap) heap.pins.push(pin);
      else {
        const begun = { px, py, where, pins: [pin] };
        found.push(begun);
        if (cells.has(cell)) cells.get(cell).push(begun);
        else cells.set(cell, [begun]);
      }
    }
    return found;
  }

  function near(cells, columns, cell, px, py) {
    for (let row = -columns; row <= columns; row += columns)
      for (let column = -1; column <= 1; column += 1)
        for (const heap of cells.get(cell + row + column) || [])
          if ((heap.px - px) ** 2 + (heap.py - py) ** 2 < APART * APART) return heap;
    return null;
  }

  return { at, rank, placed };
})();
