'use strict';
(() => {
  const by = (id) => document.getElementById(id);
  const frames = [...document.querySelectorAll('.frame[data-id]')];
  const dialog = by('viewer'), stage = by('stage');
  if (!frames.length || !dialog || !dialog.showModal) return;
  for (const hidden of document.querySelectorAll('.act[hidden]')) hidden.hidden = false;
  const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
  const panes = [by('pane-a'), by('pane-b')], plates = [by('plate-a'), by('plate-b')];
  const s = { a: 0, b: Math.min(1, frames.length - 1), mode: 'one', zoom: 1, x: 0, y: 0, marks: true, wipe: 50, flip: false, timer: 0, front: 0 };
  const size = (i) => [Number(frames[i].dataset.w) || 1, Number(frames[i].dataset.h) || 1];
  const fit = () => { const [w, h] = size(s.a), r = panes[0].getBoundingClientRect(); return Math.min(r.width / w, r.height / h) || 1; };

  function fill(plate, i) {
    if (plate.dataset.shown === String(i)) return;
    const img = frames[i].querySelector('img').cloneNode(false), marks = frames[i].querySelector('svg');
    img.removeAttribute('loading');
    if (frames[i].dataset.full) img.src = frames[i].dataset.full;
    plate.replaceChildren(img);
    if (marks) plate.append(marks.cloneNode(true));
    plate.dataset.shown = String(i);
  }

  function draw() {
    stage.className = s.mode === 'side' ? 'side' : '';
    stage.classList.toggle('off', !s.marks);
    panes[1].hidden = s.mode === 'one';
    for (const m of ['one', 'side', 'wipe', 'blink']) by('mode-' + m).setAttribute('aria-pressed', String(s.mode === m));
    by('marks').setAttribute('aria-pressed', String(s.marks));
    by('wipe-box').hidden = s.mode !== 'wipe';
    by('pick-box').hidden = s.mode === 'one';
    by('flip').hidden = s.mode !== 'blink';
    by('pause').hidden = s.mode !== 'blink';
    by('pause').textContent = s.timer ? 'Stop' : 'Go on';
    by('wipe').value = s.wipe; by('pick-a').value = s.a; by('pick-b').value = s.b;
    const name = (i) => frames[i].dataset.name;
    by('tag-a').textContent = s.mode === 'blink' ? name(s.flip ? s.b : s.a) : name(s.a);
    by('tag-b').textContent = name(s.b);
    by('tag-b').hidden = s.mode === 'blink';
    by('tag-b').style.left = s.mode === 'wipe' ? 'auto' : '';
    by('tag-b').style.right = s.mode === 'wipe' ? '.3rem' : '';
    const words = frames[s.mode === 'blink' && s.flip ? s.b : s.a].closest('figure').querySelector('.words');
    by('words').setAttribute('aria-live', s.timer ? 'off' : 'polite');
    by('words').textContent = words ? words.textContent.trim().replace(/\s+/g, ' ') : '';
    const scale = fit() * s.zoom, [w, h] = size(s.a);
    [s.a, s.b].forEach((i, n) => {
      if (n && s.mode === 'one') return;
      fill(plates[n], i);
      const p = plates[n].style, [iw, ih] = size(i), r = panes[n].getBoundingClientRect();
      const k = n ? scale * Math.min(w / iw, h / ih) : scale;
      p.width = iw + 'px'; p.height = ih + 'px';
      p.transform = `translate(${r.width / 2 - s.x * w * scale - iw * k / 2}px,${r.height / 2 - s.y * h * scale - ih * k / 2}px) scale(${k})`;
      plates[n].classList.toggle('sharp', k > 2);
    });
    panes[1].style.clipPath = s.mode === 'wipe' ? `inset(0 0 0 ${s.wipe}%)` : 'none';
    panes[1].style.visibility = s.mode === 'blink' && !s.flip ? 'hidden' : 'visible';
    by('scale').textContent = Math.round(scale * 100) + ' %';
  }

  function zoom(factor, px, py) {
    const r = panes[0].getBoundingClientRect(), [w, h] = size(s.a), before = fit() * s.zoom;
    const dx = px === undefined ? 0 : px - r.left - r.width / 2, dy = py === undefined ? 0 : py - r.top - r.height / 2;
    s.zoom = Math.min(40 / fit(), Math.max(0.5, s.zoom * factor));
    const after = fit() * s.zoom;
    s.x += dx / (w * before) - dx / (w * after); s.y += dy / (h * before) - dy / (h * after);
    bound(); draw();
  }
  function bound() { s.x = Math.min(0.5, Math.max(-0.5, s.x)); s.y = Math.min(0.5, Math.max(-0.5, s.y)); }
  function pan(dx, dy) { const [w, h] = size(s.a), k = fit() * s.zoom; s.x += dx / (w * k); s.y += dy / (h * k); bound(); draw(); }
  function home() { s.zoom = 1; s.x = s.y = 0; draw(); }
  function whole() { s.zoom = 1 / fit(); bound(); draw(); }
  function show(i) { s.a = (i + frames.length) % frames.length; home(); }
  function stop() { clearInterval(s.timer); s.timer = 0; }
  function go() { stop(); if (!still) s.timer = setInterval(() => { s.flip = !s.flip; draw(); }, 700); }
  function mode(m) {
    stop(); s.mode = m; s.flip = false;
    if (m !== 'one' && s.a === s.b) s.b = (s.a + 1) % frames.length;
    if (m === 'blink') go();
    draw();
  }
  function wipe(v) { s.wipe = Math.min(100, Math.max(0, v)); draw(); }

  const acts = {
    next: () => show(s.a + 1), back: () => show(s.a - 1), nearer: () => zoom(1.5), farther: () => zoom(1 / 1.5), home, whole,
    left: () => pan(-80, 0), right: () => pan(80, 0), up: () => pan(0, -80), down: () => pan(0, 80),
    marks: () => { s.marks = !s.marks; draw(); },
    'mode-one': () => mode('one'), 'mode-side': () => mode('side'), 'mode-wipe': () => mode('wipe'), 'mode-blink': () => mode('blink'),
    flip: () => { stop(); s.flip = !s.flip; draw(); }, pause: () => { s.timer ? stop() : go(); draw(); }, shut: () => dialog.close(),
  };
  for (const [id, act] of Object.entries(acts)) by(id).addEventListener('click', act);
  const keys = {
    n: 'next', p: 'back', '+': 'nearer', '=': 'nearer', '-': 'farther', f: 'home', x: 'whole', m: 'marks',
    1: 'mode-one', 2: 'mode-side', 3: 'mode-wipe', 4: 'mode-blink', ' ': 'flip',
    ArrowLeft: 'left', ArrowRight: 'right', ArrowUp: 'up', ArrowDown: 'down',
  };
  stage.addEventListener('keydown', (e) => {
    if (e.ctrlKey || e.altKey || e.metaKey) return;
    if (e.key === ',' || e.key === '.') { wipe(s.wipe + (e.key === ',' ? -5 : 5)); e.preventDefault(); return; }
    const act = keys[e.key];
    if (!act || (act === 'flip' && s.mode !== 'blink')) return;
    acts[act](); e.preventDefault();
  });
  by('wipe').addEventListener('input', (e) => wipe(Number(e.target.value)));
  for (const side of ['a', 'b']) {
    const pick = by('pick-' + side);
    frames.forEach((f, i) => pick.add(new Option(f.dataset.name, i)));
    pick.addEventListener('change', () => { s[side] = Number(pick.value); draw(); });
  }
  const fingers = new Map();
  let apart = 0;
  stage.addEventListener('pointerdown', (e) => { stage.setPointerCapture(e.pointerId); fingers.set(e.pointerId, [e.clientX, e.clientY]); apart = 0; });
  stage.addEventListener('pointermove', (e) => {
    const old = fingers.get(e.pointerId);
    if (!old) return;
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
    if (fingers.size === 1) { pan(old[0] - e.clientX, old[1] - e.clientY); return; }
    const [[ax, ay], [bx, by_]] = [...fingers.values()], now = Math.hypot(ax - bx, ay - by_);
    if (apart) zoom(now / apart, (ax + bx) / 2, (ay + by_) / 2);
    apart = now;
  });
  for (const end of ['pointerup', 'pointercancel']) stage.addEventListener(end, (e) => { fingers.delete(e.pointerId); apart = 0; });
  stage.addEventListener('wheel', (e) => { e.preventDefault(); zoom(e.deltaY < 0 ? 1.2 : 1 / 1.2, e.clientX, e.clientY); }, { passive: false });
  stage.addEventListener('dblclick', (e) => { if (s.zoom > 1.01) home(); else zoom(4, e.clientX, e.clientY); });
  addEventListener('resize', () => { if (dialog.open) draw(); });
  dialog.addEventListener('close', () => { stop(); s.mode = 'one'; });
  for (const button of document.querySelectorAll('button[data-open]')) {
    button.addEventListener('click', () => {
      const i = frames.findIndex((f) => f.dataset.id === button.dataset.open);
      if (i < 0) return;
      dialog.showModal(); s.mode = 'one'; s.b = (i + 1) % frames.length; show(i); stage.focus();
    });
  }
})();
