// Functions that run inside the page. Each returns a list of problems; an empty list is a pass.
// They are handed to the page as source text, so none may use anything from outside its own body.

/** Folded parts are opened, so that what a reader can unfold is checked too. */
export function unfold() {
  for (const details of document.querySelectorAll('details')) details.open = true;
}

/** One title, one h1, no level left out on the way down. */
export function headings() {
  const problems = [];
  if (document.title.trim() === '') problems.push('the page has no title');
  const all = [...document.querySelectorAll('h1, h2, h3, h4, h5, h6')];
  const first = all.filter((h) => h.tagName === 'H1');
  if (first.length !== 1) problems.push(`${first.length} h1, one expected`);
  if (all.length > 0 && all[0].tagName !== 'H1') problems.push(`the first heading is ${all[0].tagName}`);
  let level = 0;
  for (const h of all) {
    const now = Number(h.tagName[1]);
    if (level > 0 && now > level + 1) problems.push(`h${level} is followed by h${now}: "${h.textContent.trim()}"`);
    if (h.textContent.trim() === '') problems.push(`an empty h${now}`);
    level = now;
  }
  return problems;
}

/** Every picture has a text in its place, and was really decoded. */
export async function pictures() {
  const problems = [];
  for (const img of document.querySelectorAll('img')) {
    const name = (img.getAttribute('src') ?? '').slice(0, 40);
    if (!img.hasAttribute('alt')) problems.push(`img without alt: ${name}`);
    else if (img.alt.trim() === '' && img.getAttribute('role') !== 'presentation')
      problems.push(`img with an empty alt and no role="presentation": ${name}`);
    await img.decode().catch(() => problems.push(`img that cannot be decoded: ${name}`));
  }
  for (const svg of document.querySelectorAll('svg')) {
    if (svg.getAttribute('aria-hidden') === 'true' || svg.closest('[aria-hidden="true"]')) continue;
    const labelled = (svg.getAttribute('aria-labelledby') ?? '')
      .split(/\s+/)
      .some((id) => id !== '' && document.getElementById(id)?.textContent.trim());
    const title = svg.querySelector(':scope > title')?.textContent.trim();
    if (!labelled && !title && !svg.getAttribute('aria-label')?.trim()) problems.push('svg without a name');
  }
  return problems;
}

/** The page is no wider than the window; a table that scrolls inside its own region is fine. */
export function sidewaysScroll() {
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= width) return [];
  const problems = [`content is ${document.documentElement.scrollWidth} px wide in a window of ${width} px`];
  const contained = (e) => {
    for (let up = e.parentElement; up; up = up.parentElement)
      if (up !== document.body && up !== document.documentElement && getComputedStyle(up).overflowX !== 'visible')
        return true;
    return false;
  };
  for (const e of document.body.querySelectorAll('*')) {
    const box = e.getBoundingClientRect();
    if (box.width > 0 && box.right > width + 1 && !contained(e))
      problems.push(`<${e.tagName.toLowerCase()} class="${e.getAttribute('class') ?? ''}"> ends at ${Math.round(box.right)} px`);
  }
  return problems.slice(0, 6);
}

/**
 * Contrast of text inside SVG pictures, which axe-core does not judge: WCAG 2.2, success criterion 1.4.3, 4.5 to 1, or
 * 3 to 1 for large text (24 px, or 18.66 px in bold). Relative luminance as WCAG 2.2 defines it. The ground is the
 * topmost filled shape below the middle of the text, else the nearest HTML ground.
 */
export function svgContrast() {
  const rgba = (text) => {
    const m = /^rgba?\(([^)]+)\)$/.exec(text);
    if (!m) return null;
    const [r, g, b, a = 1] = m[1].split(/[\s,/]+/).map(Number);
    return a === 0 ? null : { r, g, b, a };
  };
  const over = (top, under) => ({
    r: top.r * top.a + under.r * (1 - top.a),
    g: top.g * top.a + under.g * (1 - top.a),
    b: top.b * top.a + under.b * (1 - top.a),
    a: 1,
  });
  const luminance = ({ r, g, b }) => {
    const [x, y, z] = [r, g, b].map((c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4));
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const white = { r: 255, g: 255, b: 255, a: 1 };
  const htmlGround = (e) => {
    const layers = [];
    for (let up = e; up; up = up.parentElement) {
      const colour = rgba(getComputedStyle(up).backgroundColor);
      if (colour) layers.push(colour);
      if (colour?.a === 1) break;
    }
    return layers.reverse().reduce((under, top) => over(top, under), white);
  };
  const problems = [];
  for (const text of document.querySelectorAll('svg text')) {
    if (text.textContent.trim() === '') continue;
    const svg = text.ownerSVGElement;
    if (svg.getClientRects().length === 0) continue;
    const style = getComputedStyle(text);
    if (style.visibility === 'hidden' || style.display === 'none') continue;
    text.scrollIntoView({ block: 'center', inline: 'center' });
    const box = text.getBoundingClientRect();
    let ground = htmlGround(svg.parentElement);
    const middle = new DOMPoint(box.left + box.width / 2, box.top + box.height / 2);
    const stack = document.elementsFromPoint(middle.x, middle.y);
    for (const shape of stack) {
      if (shape === text || text.contains(shape) || shape.tagName === 'text' || shape.tagName === 'tspan') continue;
      if (!(shape instanceof SVGGeometryElement) || shape.ownerSVGElement !== svg) continue;
      // A thin line below the text is hit by its stroke; only a filled inside is a ground.
      if (!shape.isPointInFill(middle.matrixTransform(shape.getScreenCTM().inverse()))) continue;
      const fill = rgba(getComputedStyle(shape).fill);
      if (!fill) continue;
      ground = over({ ...fill, a: fill.a * Number(getComputedStyle(shape).fillOpacity) }, ground);
      break;
    }
    const fill = rgba(style.fill);
    if (!fill) continue;
    const ink = over({ ...fill, a: fill.a * Number(style.fillOpacity) * Number(style.opacity) }, ground);
    const [light, dark] = [luminance(ink), luminance(ground)].sort((a, b) => b - a);
    const ratio = (light + 0.05) / (dark + 0.05);
    const scale = text.getScreenCTM()?.a ?? 1;
    const size = parseFloat(style.fontSize) * scale;
    const wanted = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700) ? 3 : 4.5;
    if (ratio < wanted) problems.push(`"${text.textContent.trim()}" has ${ratio.toFixed(2)} to 1, ${wanted} needed`);
  }
  return problems;
}

/** Text in a picture is no smaller on the screen than 9 px: below that a phone's owner has to zoom. */
export function svgTextSize() {
  const problems = [];
  for (const text of document.querySelectorAll('svg text')) {
    if (text.textContent.trim() === '' || text.ownerSVGElement.getClientRects().length === 0) continue;
    const size = parseFloat(getComputedStyle(text).fontSize) * (text.getScreenCTM()?.a ?? 1);
    if (size < 9) problems.push(`"${text.textContent.trim()}" is ${size.toFixed(1)} px high`);
  }
  return problems;
}
