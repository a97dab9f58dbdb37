// Shared by the views of photographs; ui.web.components.made puts this script before each of them.
const NS = 'http://www.w3.org/2000/svg';
const make = (name, attributes, parent) => {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  parent.append(node);
  return node;
};

// Position of a mouse or finger in px of the picture.
const at = (svg, e) => {
  const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return [p.x, p.y];
};

// Pictures: length of the header, header ([[name, size]]), bytes. The oldest are dropped.
function keep(pictures, data, most, event) {
  const bytes = data instanceof Uint8Array ? data : new Uint8Array(data);
  const length = new DataView(bytes.buffer, bytes.byteOffset).getUint32(0, true);
  let from = 4 + length;
  for (const [name, size] of JSON.parse(new TextDecoder().decode(bytes.subarray(4, from)))) {
    const part = bytes.slice(from, from + size);
    const type = part[0] === 0x89 ? 'image/png' : 'image/jpeg';
    if (!pictures.has(name)) pictures.set(name, URL.createObjectURL(new Blob([part], {type})));
    from += size;
  }
  for (const name of [...pictures.keys()].slice(0, -most)) {
    URL.revokeObjectURL(pictures.get(name));
    pictures.delete(name);
  }
  dispatchEvent(new Event(event));
}

