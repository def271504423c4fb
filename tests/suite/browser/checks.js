// What is wrong with the page as it stands in the window, as a list of sentences.
(() => {
  const complaints = [];
  const named = node => node.tagName.toLowerCase() + (node.className.baseVal ?? node.className ? '.' + (node.className.baseVal ?? node.className) : '');
  const parsed = colour => {
    const numbers = colour.match(/[\d.]+/g)?.map(Number) ?? [0, 0, 0, 0];
    return { rgb: numbers.slice(0, 3), alpha: colour === 'none' || colour === 'transparent' ? 0 : numbers[3] ?? 1 };
  };
  const over = (top, alpha, under) => top.map((value, k) => value * alpha + under[k] * (1 - alpha));
  // Relative luminance and contrast ratio as WCAG 2.2 defines them.
  const luminance = rgb => {
    const [r, g, b] = rgb.map(value => value / 255).map(c => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a, b) => {
    const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
    return (high + 0.05) / (low + 0.05);
  };
  const paint = node => {
    const style = getComputedStyle(node);
    // A line has a fill by default and no area to show it.
    if (node instanceof SVGLineElement) return { rgb: [0, 0, 0], alpha: 0 };
    const isShape = node instanceof SVGGeometryElement;
    const colour = parsed(isShape ? style.fill : style.backgroundColor);
    const opacity = isShape ? Number(style.fillOpacity) * Number(style.opacity) : Number(style.opacity);
    return { rgb: colour.rgb, alpha: colour.alpha * opacity };
  };
  // The colour behind a point: everything below `node` there, the lowest first.
  const behind = (node, x, y) => {
    const stack = document.elementsFromPoint(x, y);
    const below = stack.slice(Math.max(stack.indexOf(node), 0)).reverse();
    return below.map(paint).reduce((under, { rgb, alpha }) => over(rgb, alpha, under), [255, 255, 255]);
  };

  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > width) {
    complaints.push(`the page is ${document.documentElement.scrollWidth} px wide in a window of ${width}`);
  }
  for (const node of document.querySelectorAll('body *')) {
    const box = node.getBoundingClientRect();
    const mayScroll = node.closest('.scroll') && !node.matches('.scroll');
    if (box.width > 0 && !mayScroll && (box.right > width + 1 || box.left < -1)) {
      complaints.push(`${named(node)} reaches from ${box.left} to ${box.right} px`);
    }
  }

  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let checked = 0;
  while (texts.nextNode()) {
    const node = texts.currentNode.parentElement;
    const range = document.createRange();
    range.selectNodeContents(texts.currentNode);
    let box = range.getClientRects()[0];
    if (!texts.currentNode.data.trim() || !box || !box.width) continue;
    // What is folded away has a place but does not show.
    if (!node.checkVisibility()) continue;
    const style = getComputedStyle(node);
    if (style.visibility === 'hidden') continue;
    if (!document.elementsFromPoint(box.x + box.width / 2, box.y + box.height / 2).includes(node)) {
      // It may have to be scrolled to within a wide table.
      node.scrollIntoView({ block: 'nearest', inline: 'nearest' });
      box = range.getClientRects()[0];
    }
    const size = parseFloat(style.fontSize) * (node instanceof SVGElement ? node.getScreenCTM().a : 1);
    const isLarge = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    const ground = behind(node, box.x + box.width / 2, box.y + box.height / 2);
    const ink = parsed(node instanceof SVGElement ? style.fill : style.color);
    const ratio = contrast(over(ink.rgb, ink.alpha * Number(style.opacity), ground), ground);
    checked += 1;
    if (ratio < (isLarge ? 3 : 4.5)) {
      complaints.push(`contrast ${ratio.toFixed(2)}: ${texts.currentNode.data.trim().slice(0, 40)}`);
    }
    if (size < 9) complaints.push(`${size.toFixed(1)} px high: ${texts.currentNode.data.trim().slice(0, 40)}`);
  }
  if (checked === 0) complaints.push('no text was found to check');

  // WCAG 2.2, success criterion 1.4.11: 3 to 1 for what is drawn and must be told apart.
  for (const node of document.querySelectorAll('.dot, .bar, .bound, .axis, .deed path, .deed rect')) {
    const box = node.getBoundingClientRect();
    const style = getComputedStyle(node);
    const drawn = parsed(style.stroke === 'none' ? style.fill : style.stroke);
    const ground = behind(node.closest('figure') ?? node, box.x + box.width / 2, box.y + box.height / 2);
    const ratio = contrast(over(drawn.rgb, drawn.alpha, ground), ground);
    if (ratio < 3) complaints.push(`contrast ${ratio.toFixed(2)}: ${named(node)}`);
  }

  for (const image of document.images) {
    if (!image.hasAttribute('width') || !image.hasAttribute('height')) complaints.push('an image takes its room only when loaded');
    if (!image.alt) complaints.push('an image says nothing to those who do not see it');
    if (!image.naturalWidth) complaints.push('an image is not shown');
  }
  const ids = [...document.querySelectorAll('[id]')].map(node => node.id);
  if (new Set(ids).size < ids.length) complaints.push('two parts have one id');
  for (const link of document.querySelectorAll('a[href^="#"]')) {
    if (!document.getElementById(link.hash.slice(1))) complaints.push(`${link.hash} leads nowhere`);
  }
  const levels = [...document.querySelectorAll('h1,h2,h3,h4')].map(node => Number(node.tagName[1]));
  levels.forEach((level, k) => { if (k && level > levels[k - 1] + 1) complaints.push(`a heading skips to h${level}`); });
  if (document.querySelectorAll('h1').length !== 1) complaints.push('there is not just one h1');
  return complaints;
})()
