// Measures the page as it is rendered. Returns {faint, unmeasured, small, wide, clipped}: lists of sentences.
// Contrast and targets follow WCAG 2.2 (1.4.3 with 4.5 for every size; 2.5.5 with its exception for links in text).
// The window must be as tall as the page, since hits are asked by position.
({ least, target, coloursOnly }) => {
  const report = { faint: [], unmeasured: [], small: [], wide: [], clipped: [] };
  const width = document.documentElement.clientWidth;
  const canvas = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  const colours = new Map();

  const named = (element) => {
    const words = (element.textContent || element.value || element.placeholder || "").trim().replace(/\s+/g, " ");
    const mark = element.id ? `#${element.id}` : element.getAttribute("class") ? `.${element.getAttribute("class").split(" ")[0]}` : "";
    return `<${element.localName}${mark}> "${words.slice(0, 40)}"`;
  };

  // --- colours ---------------------------------------------------------------

  const colour = (text) => {
    if (!colours.has(text)) {
      canvas.clearRect(0, 0, 1, 1);
      canvas.fillStyle = text;
      canvas.fillRect(0, 0, 1, 1);
      const [r, g, b, a] = canvas.getImageData(0, 0, 1, 1).data;
      colours.set(text, [r, g, b, a / 255]);
    }
    return colours.get(text);
  };

  const over = ([r, g, b, a], below) => [0, 1, 2].map((k) => [r, g, b][k] * a + below[k] * (1 - a));

  const luminance = (rgb) => {
    const [r, g, b] = rgb.map((part) => part / 255).map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };

  const contrast = (one, other) => {
    const [dark, bright] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (bright + 0.05) / (dark + 0.05);
  };

  const opacities = new Map();
  const opacity = (element) => {
    if (!element) return 1;
    if (!opacities.has(element)) opacities.set(element, opacity(element.parentElement) * Number(getComputedStyle(element).opacity));
    return opacities.get(element);
  };

  // The paint of one element at a point, as [r, g, b, a]; null where it paints nothing, undefined where we cannot tell.
  const paint = (element, x, y) => {
    const style = getComputedStyle(element);
    if (element instanceof SVGGeometryElement) {
      const at = new DOMPoint(x, y).matrixTransform(element.getScreenCTM().inverse());
      const inside = style.fill !== "none" && element.isPointInFill(at);
      const text = inside ? style.fill : style.stroke;
      if (text === "none") return null;
      if (text.startsWith("url")) return undefined;
      const [r, g, b, a] = colour(text);
      return [r, g, b, a * Number(inside ? style.fillOpacity : style.strokeOpacity) * opacity(element)];
    }
    if (element instanceof SVGElement) return null;
    if (style.backgroundImage !== "none" && !element.matches("select, input")) return undefined;
    const [r, g, b, a] = colour(style.backgroundColor);
    return a ? [r, g, b, a * opacity(element)] : null;
  };

  // What lies under a text at a point, blended down to the first paint that hides the rest.
  const ground = (x, y) => {
    const layers = [];
    for (const element of document.elementsFromPoint(x, y)) {
      const found = paint(element, x, y);
      if (found === undefined) return undefined;
      if (found) layers.push(found);
      if (found && found[3] > 0.999) break;
    }
    return layers.reverse().reduce((below, layer) => over(layer, below), [255, 255, 255]);
  };

  const judge = (element, style, ink, box) => {
    const points = [[box.left + box.width / 2, box.top + box.height / 2], [box.left + 2, box.top + box.height / 2], [box.right - 2, box.top + box.height / 2]];
    let worst = Infinity;
    for (const [x, y] of points) {
      if (x < 0 || y < 0 || x >= innerWidth || y >= innerHeight) continue;
      const below = ground(x, y);
      if (below === undefined) {
        report.unmeasured.push(named(element));
        return;
      }
      const [r, g, b, a] = colour(ink);
      worst = Math.min(worst, contrast(over([r, g, b, a * opacity(element)], below), below));
    }
    if (worst < least) report.faint.push(`${named(element)} ${worst.toFixed(2)}:1`);
  };

  // --- texts --------------------------------------------------------------------

  // Kept for those who listen only: a box of one pixel, or the skip link before it is wanted.
  const hidden = (element) => {
    for (let node = element; node && node !== document.body; node = node.parentElement) {
      const style = getComputedStyle(node);
      if (style.position === "absolute" && style.overflow !== "visible" && node.offsetWidth <= 1 && node.offsetHeight <= 1) return true;
    }
    return false;
  };
  const unseen = (element) => Boolean(element.closest(".skip:not(:focus)")) || hidden(element);
  const shown = (element) => element.checkVisibility({ opacityProperty: true, visibilityProperty: true }) && !unseen(element);
  const block = (element) => {
    let node = element;
    while (node.parentElement && getComputedStyle(node).display.startsWith("inline") && getComputedStyle(node).display !== "inline-flex") node = node.parentElement;
    return node;
  };

  const cutOnPurpose = (style) => style.textOverflow === "ellipsis" || style.webkitLineClamp !== "none"; // with dots
  const shortened = (element) => {
    for (let node = element; node; node = node.parentElement) if (cutOnPurpose(getComputedStyle(node))) return true;
    return false;
  };

  const labels = new Map(); // texts of each drawing, to see which lie on one another
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const element = node.parentElement;
    if (!node.data.trim() || !shown(element) || element.closest("script, style, option, title, desc")) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const boxes = [...range.getClientRects()].filter((box) => box.width > 0 && box.height > 0 && box.bottom < innerHeight);
    if (!boxes.length) continue;
    const style = getComputedStyle(element);
    const drawing = element.closest("svg");
    for (const box of boxes.slice(0, 3)) judge(element, style, drawing ? style.fill : style.color, box);
    if (drawing) {
      const edge = drawing.getBoundingClientRect();
      const box = element.getBoundingClientRect();
      const open = getComputedStyle(drawing).overflow === "visible";
      if (!open && (box.left < edge.left - 1 || box.right > edge.right + 1 || box.top < edge.top - 2 || box.bottom > edge.bottom + 2)) {
        report.clipped.push(`${named(element)} is cut by its drawing`);
      }
      if (!element.parentElement.closest("text")) labels.set(drawing, [...(labels.get(drawing) ?? []), [element, box]]);
      continue;
    }
    if (shortened(element)) continue;
    const holder = block(element);
    const edge = holder.getBoundingClientRect();
    const out = boxes.find((box) => box.right > edge.right + 1.5 || box.left < edge.left - 1.5);
    if (out && !holder.closest(".table-wrap")) report.clipped.push(`${named(element)} runs ${Math.round(Math.max(out.right - edge.right, edge.left - out.left))} px out of ${named(holder).split(" ")[0]}`);
  }
  for (const texts of labels.values()) {
    texts.forEach(([one, a], place) => {
      for (const [other, b] of texts.slice(place + 1)) {
        const [x, y] = [Math.min(a.right, b.right) - Math.max(a.left, b.left), Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top)];
        if (x > 2 && y > 0.35 * Math.min(a.height, b.height)) report.clipped.push(`${named(one)} and ${named(other)} lie on one another`);
      }
    });
  }
  for (const field of document.querySelectorAll("input:not([type=hidden], [type=checkbox], [type=radio]), select, textarea")) {
    if (!shown(field) || field.disabled) continue;
    const box = field.getBoundingClientRect();
    const empty = !field.value && field.placeholder;
    const style = empty ? getComputedStyle(field, "::placeholder") : getComputedStyle(field);
    judge(field, style, style.color, { left: box.left + 10, right: box.left + 20, width: 10, top: box.top, height: box.height });
  }

  if (coloursOnly) return { faint: report.faint, unmeasured: report.unmeasured };

  // --- width, clipping -------------------------------------------------------------

  if (document.documentElement.scrollWidth > width) {
    const wide = [...document.body.querySelectorAll("*")].filter((element) => shown(element) && element.getBoundingClientRect().right > width + 0.5 && !element.closest(".table-wrap, svg *"));
    report.wide.push(`${document.documentElement.scrollWidth} px in a window of ${width}: ${wide.slice(-3).map(named).join(", ")}`);
  }
  for (const element of document.body.querySelectorAll("*")) {
    if (element instanceof SVGElement || !shown(element) || element.matches("input, select, textarea")) continue;
    const style = getComputedStyle(element);
    const cutX = ["hidden", "clip"].includes(style.overflowX) && element.scrollWidth > element.clientWidth + 1;
    const cutY = ["hidden", "clip"].includes(style.overflowY) && element.scrollHeight > element.clientHeight + 1;
    if ((cutX || cutY) && !cutOnPurpose(style)) report.clipped.push(`${named(element)} hides a part of itself`);
  }

  // --- targets ----------------------------------------------------------------------

  const owner = (hit) => {
    const found = hit?.closest("a[href], button, summary, input, select, textarea, label");
    return found?.localName === "label" ? found.control : found;
  };

  // How far the target reaches from its middle, by asking what a tap there would hit; at most 60 px each way.
  const reach = (element, x, y, dx, dy) => {
    let far = 0;
    while (far < 60) {
      const [px, py] = [x + dx * (far + 1), y + dy * (far + 1)];
      if (px < 0 || py < 0 || px >= innerWidth || py >= innerHeight) break;
      if (owner(document.elementFromPoint(px, py)) !== element) break;
      far += 1;
    }
    return far;
  };

  const inText = (element) => {
    if (element.localName !== "a" || getComputedStyle(element).display !== "inline") return false;
    const around = block(element.parentElement);
    const copy = around.cloneNode(true);
    copy.querySelectorAll("a, button, .unseen").forEach((link) => link.remove());
    return /[\p{L}\p{N}]{2,}/u.test(copy.textContent);
  };

  for (const element of document.querySelectorAll("a[href], button, summary, input:not([type=hidden]), select, textarea")) {
    if (!shown(element) && !(element.labels?.length && shown(element.labels[0]))) continue;
    if (element.disabled || element.closest(".skip") || inText(element)) continue;
    const label = element.labels?.[0];
    const boxes = [...element.getClientRects()].sort((one, other) => other.width * other.height - one.width * one.height);
    if (!boxes.length || boxes[0].bottom > innerHeight) continue;
    const middle = (box) => [box.left + box.width / 2, box.top + box.height / 2];
    const places = [middle(boxes[0]), ...(label ? [middle(label.getBoundingClientRect())] : [])];
    const place = places.find(([x, y]) => owner(document.elementFromPoint(x, y)) === element);
    if (!place) {
      report.small.push(`${named(element)} is hidden under something`);
      continue;
    }
    if (boxes[0].width >= target - 0.5 && boxes[0].height >= target - 0.5) continue;
    const [x, y] = place;
    const [wide, tall] = [reach(element, x, y, 1, 0) + reach(element, x, y, -1, 0) + 1, reach(element, x, y, 0, 1) + reach(element, x, y, 0, -1) + 1];
    if (wide < target - 0.5 || tall < target - 0.5) report.small.push(`${named(element)} ${wide} x ${tall} px`);
  }
  return report;
}
