// Tells where the focus is, whether it can be seen there, and what carries it.
() => {
  const element = document.activeElement;
  if (!element || element === document.body) return null;
  // What a label says without its parts that are not shown; words for screen readers only are shown to them.
  const shown = (part) => [...part.childNodes].map((node) =>
    node.nodeType === Node.TEXT_NODE ? node.data
      : node.nodeType === Node.ELEMENT_NODE && getComputedStyle(node).display !== "none" ? shown(node) : "").join("");
  const label = element.labels?.[0];
  const field = element.closest("fieldset");
  const own = element.getAttribute("aria-label") || (label ? shown(label) : "") || element.textContent || element.value || "";
  const legend = field?.querySelector("legend")?.textContent ?? "";
  const words = own.replace(/\s+/g, " ").trim();

  // What may carry the ring: the element, its label, the frame around the field, or what is drawn over its row.
  const drawn = (style) => style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 && style.outlineColor !== "rgba(0, 0, 0, 0)";
  const carriers = [element, label, element.closest(".control"), element.querySelector("*")].filter(Boolean);
  const ring = carriers.some((part) => drawn(getComputedStyle(part))) || drawn(getComputedStyle(element, "::after"));

  const box = (label && element.matches("[type=radio], [type=checkbox]") ? label : element).getClientRects()[0];
  const [x, y] = [Math.min(Math.max(box.left + box.width / 2, 1), innerWidth - 1), box.top + Math.min(box.height / 2, 22)];
  const hit = document.elementFromPoint(x, y);
  const mine = (part) => element.contains(part) || part?.closest("label")?.control === element;
  return {
    words, legend: legend.replace(/\s+/g, " ").trim(), ring, top: box.top + scrollY, bottom: box.bottom + scrollY,
    seen: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && mine(hit), main: Boolean(element.closest("main")),
    checked: Boolean(element.checked), kind: element.type || element.localName, wide: box.width, tall: box.height,
  };
}
