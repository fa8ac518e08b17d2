// The skin of all cases, drawn by one renderer with one camera: turning one turns all. What a page lacks is left out:
// a slider of stages, a choice of colours. A canvas that is sent the event "case" shows the case that it then names.
"use strict";
(() => {
  const scene = JSON.parse(document.getElementById("scene").textContent);
  const PLAIN = [0.93, 0.79, 0.68], INK = 0x181818, TIP = 0x0072b2;
  const SUN = [-1, -0.6, 1.6];
  const TURN = 0.09, RAISE = 0.07, ZOOM = 1.25, PAN = 0.08; // of one key stroke or button: radians, ratio, half-widths
  const REACH = 1.2; // of the view, half-widths
  const FLAT = 0.625; // height to width that a view has at least for the same skin; wider ones show more beside it
  const FIRST = {turned: -20, raised: 27, zoom: 1}; // degrees; the view of the still pictures

  const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const integers = (text, Kind) => new Kind(bytes(text).buffer);
  const lookup = {height: bytes(scene.height_colours), stress: bytes(scene.stress_colours)};

  function makeRenderer() {
    try {
      return new THREE.WebGLRenderer({antialias: true});
    } catch (error) {
      console.info("no WebGL: " + error.message);
      return null;
    }
  }
  const usable = document.createElement("canvas").getContext("webgl2") !== null;
  const renderer = usable ? makeRenderer() : null;
  if (renderer === null) {
    document.getElementById("no-webgl").hidden = false;
    return;
  }
  document.getElementById("views").hidden = false;
  document.querySelectorAll(".still").forEach((picture) => { picture.hidden = true; });
  renderer.setClearColor(0xffffff);
  renderer.clippingPlanes = [[1, 0], [-1, 0], [0, 1], [0, -1]].map( // the piece of skin of the still pictures
    ([x, y]) => new THREE.Plane(new THREE.Vector3(x, y, 0), scene.half_width * (x ? 1 : scene.depth)));

  const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -1e4, 1e4);
  camera.up.set(0, 0, 1);
  const target = new THREE.Vector3(); // skin turns about it
  const beside = new THREE.Vector2(); // mm, where it is seen from the middle of a view
  const holder = document.getElementById("views"), cases = holder.querySelector(".cases");
  const slider = document.getElementById("stage");
  const last = Math.max(...scene.cases.map((one) => one.closed.length - 1));
  if (slider) Object.assign(slider, {max: last, value: last});

  const views = [...holder.querySelectorAll("canvas[data-case]")].map((canvas) => {
    const view = {canvas, caption: canvas.parentElement.querySelector(".stage")};
    canvas.addEventListener("case", () => { fill(view); ask(); });
    return view;
  });

  function fill(view) {
    const one = scene.cases.find((c) => c.name === view.canvas.dataset.case);
    if (view.geometry) [view.geometry, view.skin].forEach((part) => part.dispose());
    const world = new THREE.Scene();
    world.add(new THREE.AmbientLight(0xffffff, 0.55));
    const sun = new THREE.DirectionalLight(0xffffff, 0.6);
    sun.position.set(...SUN);
    world.add(sun);

    const geometry = new THREE.BufferGeometry();
    geometry.setIndex(new THREE.BufferAttribute(integers(one.triangles, one.nodes < 65536 ? Uint16Array : Uint32Array), 1));
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(3 * one.nodes), 3));
    geometry.setAttribute("color", new THREE.BufferAttribute(new Float32Array(3 * one.nodes), 3));
    const skin = new THREE.MeshLambertMaterial({
      vertexColors: true, side: THREE.DoubleSide, polygonOffset: true, polygonOffsetFactor: 2, polygonOffsetUnits: 2,
    });
    const mesh = new THREE.Mesh(geometry, skin);
    mesh.frustumCulled = false;
    world.add(mesh);

    const lines = one.lines.map((nodes) => {
      const material = new THREE.LineMaterial({color: INK, linewidth: 3});
      const line = new THREE.Line2(new THREE.LineGeometry(), material);
      line.frustumCulled = false;
      world.add(line);
      return {nodes, line, material};
    });
    const dots = one.tips.map(() => {
      const dot = new THREE.Mesh(new THREE.SphereGeometry(scene.half_width / 60, 16, 12), new THREE.MeshBasicMaterial({color: TIP}));
      world.add(dot);
      return dot;
    });
    Object.assign(view, {
      one, world, geometry, skin, mesh, lines, dots,
      positions: integers(one.positions, Int16Array), stresses: bytes(one.stresses),
      heights: one.heights && bytes(one.heights), // above a curved body; above a flat one they are z
    });
    shape(view);
  }

  const stageOf = (one) => slider ? Math.round(slider.value * (one.closed.length - 1) / last) : one.closed.length - 1;
  const colour = () => (document.querySelector("input[name=colour]:checked") || {value: "height"}).value;

  function shape({one, geometry, lines, dots, caption, canvas, positions, stresses, heights}) {
    const stage = stageOf(one), n = one.nodes, how = colour();
    const at = geometry.attributes.position.array, paint = geometry.attributes.color.array;
    const [low, high] = scene.heights;
    for (let i = 0; i < 3 * n; i++) at[i] = positions[3 * n * stage + i] * one.step;
    for (let i = 0; i < n; i++) {
      const height = heights ? heights[n * stage + i] : 255 * (at[3 * i + 2] - low) / (high - low);
      const share = how === "height" ? height : stresses[n * stage + i];
      const entry = 3 * Math.min(255, Math.max(0, Math.round(share)));
      for (let k = 0; k < 3; k++) paint[3 * i + k] = how === "plain" ? PLAIN[k] : lookup[how][entry + k] / 255;
    }
    geometry.attributes.position.needsUpdate = geometry.attributes.color.needsUpdate = true;
    geometry.computeVertexNormals();
    geometry.boundingSphere = null;
    const point = (node) => [at[3 * node], at[3 * node + 1], at[3 * node + 2]];
    for (const {nodes, line} of lines) {
      line.geometry.setPositions(nodes.flatMap(point));
    }
    dots.forEach((dot, k) => dot.position.set(...point(one.tips[k])));
    if (caption) caption.textContent = one.words[stage];
    canvas.dataset.stage = stage;
  }

  // Views are drawn one after the other on one hidden canvas and copied: browsers allow few contexts.
  function draw() {
    const ratio = Math.min(2, window.devicePixelRatio || 1), whole = renderer.domElement;
    for (const {canvas, world, lines} of views) {
      const width = Math.round(canvas.clientWidth * ratio), height = Math.round(canvas.clientHeight * ratio);
      if (width === 0) continue; // another one is enlarged
      if (whole.width !== width || whole.height !== height) renderer.setSize(width, height, false);
      frame(width, height);
      for (const {material} of lines) {
        material.linewidth = Math.min(6 * ratio, Math.max(1.2 * ratio, width / 150));
        material.resolution.set(width, height);
      }
      renderer.render(world, camera);
      if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, {width, height});
      canvas.getContext("2d").drawImage(whole, 0, 0);
    }
  }

  function frame(width, height) {
    const reach = REACH * scene.half_width * Math.max(1, FLAT * width / height), rise = reach * height / width;
    Object.assign(camera, {left: -reach - beside.x, right: reach - beside.x, top: rise - beside.y, bottom: -rise - beside.y});
    camera.updateProjectionMatrix();
  }

  let asked = false;
  function ask() { // at most one drawing a frame
    if (!asked) requestAnimationFrame(() => { asked = false; draw(); });
    asked = true;
  }

  function look(turned, raised) {
    const far = 10 * scene.half_width;
    camera.position.set(
      far * Math.cos(raised) * Math.sin(turned), -far * Math.cos(raised) * Math.cos(turned), far * Math.sin(raised));
    camera.position.add(target);
    camera.lookAt(target);
    ask();
  }

  function turn(by, up) {
    const {x, y, z} = camera.position.clone().sub(target);
    const raised = Math.asin(z / Math.hypot(x, y, z)) + up;
    look(Math.atan2(x, -y) + by, Math.min(1.55, Math.max(-1.55, raised)));
  }

  function pan(right, up) {
    beside.add(new THREE.Vector2(right, up).multiplyScalar(PAN * scene.half_width / camera.zoom));
    ask();
  }

  function zoom(by) {
    camera.zoom = Math.min(20, Math.max(0.4, camera.zoom * by));
    ask();
  }

  function first() {
    camera.zoom = FIRST.zoom;
    target.set(0, 0, 0);
    beside.set(0, 0);
    look(THREE.MathUtils.degToRad(FIRST.turned), THREE.MathUtils.degToRad(FIRST.raised));
  }

  function pick(view, event) { // the skin under the pointer is what all turn about; it stays where it is seen
    const box = view.canvas.getBoundingClientRect(), ray = new THREE.Raycaster();
    const at = {x: 2 * (event.clientX - box.left) / box.width - 1, y: 1 - 2 * (event.clientY - box.top) / box.height};
    frame(box.width, box.height);
    camera.updateMatrixWorld();
    ray.setFromCamera(at, camera);
    const [hit] = ray.intersectObject(view.mesh);
    if (!hit) return;
    const by = hit.point.clone().sub(target);
    const [right, up] = [0, 1].map((k) => new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, k));
    beside.add(new THREE.Vector2(by.dot(right), by.dot(up)));
    target.add(by);
    camera.position.add(by);
  }

  function enlarge(view) { // one case to the window, or back
    const large = holder.classList.toggle("large");
    document.documentElement.classList.toggle("behind", large);
    for (const {canvas} of views) {
      canvas.parentElement.classList.toggle("shown", large && canvas === view.canvas);
      canvas.style.touchAction = large ? "none" : "pan-y";
    }
    view.canvas.focus({preventScroll: large});
    ask();
  }

  const KEYS = {
    ArrowLeft: () => turn(-TURN, 0), ArrowRight: () => turn(TURN, 0),
    ArrowUp: () => turn(0, RAISE), ArrowDown: () => turn(0, -RAISE),
    "shift ArrowLeft": () => pan(-1, 0), "shift ArrowRight": () => pan(1, 0),
    "shift ArrowUp": () => pan(0, 1), "shift ArrowDown": () => pan(0, -1),
    "+": () => zoom(ZOOM), "-": () => zoom(1 / ZOOM), Home: first, f: enlarge,
    Escape: (view) => { if (holder.classList.contains("large")) enlarge(view); },
  };

  first();
  for (const view of views) {
    const {canvas} = view;
    fill(view);
    canvas.addEventListener("pointerdown", (event) => { if (event.isPrimary && event.button === 0) pick(view, event); });
    const orbit = new THREE.OrbitControls(camera, canvas); // second button or two fingers pan
    orbit.target = target;
    orbit.enableZoom = false; // the wheel goes on scrolling the page
    orbit.addEventListener("change", ask);
    canvas.style.touchAction = "pan-y"; // so does a finger that moves up or down
    canvas.addEventListener("dblclick", () => enlarge(view));
    canvas.addEventListener("keydown", (event) => {
      const key = event.shiftKey && event.key.startsWith("Arrow") ? "shift " + event.key : event.key;
      if (key in KEYS && !event.ctrlKey && !event.metaKey && !event.altKey) {
        event.preventDefault();
        event.stopPropagation();
        KEYS[key](view);
      }
    });
    const button = canvas.parentElement.querySelector(".enlarge");
    if (button) button.addEventListener("click", () => enlarge(view));
  }
  document.addEventListener("keydown", (event) => {
    const shown = views.find(({canvas}) => canvas.parentElement.classList.contains("shown"));
    if (event.key === "Escape" && shown) enlarge(shown);
  });
  const listen = (id, event, act) => {
    const element = document.getElementById(id);
    if (element) element.addEventListener(event, act);
  };
  listen("nearer", "click", () => zoom(ZOOM));
  listen("farther", "click", () => zoom(1 / ZOOM));
  listen("reset", "click", first);
  listen("stage", "input", () => { views.forEach(shape); ask(); });
  listen("across", "change", ({target: {value}}) => {
    cases.classList.toggle("chosen", value !== "");
    cases.style.gridTemplateColumns = value && `repeat(${value}, minmax(0, 1fr))`;
    ask();
  });
  document.querySelectorAll("input[name=colour]").forEach((choice) => choice.addEventListener("change", () => {
    views.forEach(shape);
    for (const name of ["height", "stress"]) document.getElementById("scale-" + name).hidden = colour() !== name;
    ask();
  }));
  new ResizeObserver(ask).observe(holder);
})();
