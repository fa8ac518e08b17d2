// The skin of all cases, drawn by one renderer with one camera: turning one turns all.
"use strict";
(() => {
  const scene = JSON.parse(document.getElementById("scene").textContent);
  const PLAIN = [0.93, 0.79, 0.68], INK = 0x181818, TIP = 0x0072b2;
  const SUN = [-1, -0.6, 1.6];
  const TURN = 0.09, RAISE = 0.07, ZOOM = 1.25; // of one key stroke or button: radians, radians, ratio
  const REACH = 1.2; // of the view, half-widths
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
  renderer.setClearColor(0xffffff);
  renderer.setScissorTest(true);
  renderer.clippingPlanes = [[1, 0], [-1, 0], [0, 1], [0, -1]].map( // the piece of skin of the still pictures
    ([x, y]) => new THREE.Plane(new THREE.Vector3(x, y, 0), scene.half_width * (x ? 1 : scene.depth)));

  const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -1e4, 1e4);
  camera.up.set(0, 0, 1);
  const target = new THREE.Vector3();
  const slider = document.getElementById("stage");
  const last = Math.max(...scene.cases.map((one) => one.closed.length - 1));
  slider.max = last;
  slider.value = last;

  const views = scene.cases.map(view);

  function view(one) {
    const canvas = [...document.querySelectorAll("canvas[data-case]")].find((c) => c.dataset.case === one.name);
    const world = new THREE.Scene();
    world.add(new THREE.AmbientLight(0xffffff, 0.55));
    const sun = new THREE.DirectionalLight(0xffffff, 0.6);
    sun.position.set(...SUN);
    world.add(sun);

    const geometry = new THREE.BufferGeometry();
    geometry.setIndex(new THREE.BufferAttribute(integers(one.triangles, Uint32Array), 1));
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
    return {
      one, canvas, world, geometry, lines, dots,
      caption: canvas.parentElement.querySelector(".stage"),
      positions: integers(one.positions, Int16Array),
      stresses: bytes(one.stresses),
    };
  }

  const stageOf = (one) => Math.round(slider.value * (one.closed.length - 1) / last);
  const colour = () => document.querySelector("input[name=colour]:checked").value;

  function shape({one, geometry, lines, dots, caption, canvas, positions, stresses}) {
    const stage = stageOf(one), n = one.nodes, how = colour();
    const at = geometry.attributes.position.array, paint = geometry.attributes.color.array;
    const [low, high] = scene.heights;
    for (let i = 0; i < 3 * n; i++) at[i] = positions[3 * n * stage + i] * one.step;
    for (let i = 0; i < n; i++) {
      const share = how === "height" ? 255 * (at[3 * i + 2] - low) / (high - low) : stresses[n * stage + i];
      const entry = 3 * Math.min(255, Math.max(0, Math.round(share)));
      for (let k = 0; k < 3; k++) paint[3 * i + k] = how === "plain" ? PLAIN[k] : lookup[how][entry + k] / 255;
    }
    geometry.attributes.position.needsUpdate = geometry.attributes.color.needsUpdate = true;
    geometry.computeVertexNormals();
    const point = (node) => [at[3 * node], at[3 * node + 1], at[3 * node + 2]];
    for (const {nodes, line} of lines) {
      line.geometry.setPositions(nodes.flatMap(point));
    }
    dots.forEach((dot, k) => dot.position.set(...point(one.tips[k])));
    caption.textContent = one.words[stage];
    canvas.dataset.stage = stage;
  }

  // All views are drawn below each other on one hidden canvas, of which each shows its part: browsers allow few contexts.
  function draw() {
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    const width = Math.round(views[0].canvas.clientWidth * ratio), height = Math.round(views[0].canvas.clientHeight * ratio);
    if (width === 0) return;
    const whole = renderer.domElement;
    if (whole.width !== width || whole.height !== height * views.length) renderer.setSize(width, height * views.length, false);
    const reach = REACH * scene.half_width, rise = reach * height / width;
    Object.assign(camera, {left: -reach, right: reach, top: rise, bottom: -rise});
    camera.updateProjectionMatrix();
    views.forEach(({world, lines}, k) => {
      const place = [0, height * (views.length - 1 - k), width, height];
      for (const {material} of lines) {
        material.linewidth = Math.max(1.2 * ratio, width / 150);
        material.resolution.set(width, height);
      }
      renderer.setViewport(...place);
      renderer.setScissor(...place);
      renderer.render(world, camera);
    });
    views.forEach(({canvas}, k) => {
      if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, {width, height});
      canvas.getContext("2d").drawImage(whole, 0, height * k, width, height, 0, 0, width, height);
    });
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
    camera.lookAt(target);
    ask();
  }

  function turn(by, up) {
    const {x, y, z} = camera.position;
    const raised = Math.asin(z / Math.hypot(x, y, z)) + up;
    look(Math.atan2(x, -y) + by, Math.min(1.55, Math.max(-1.55, raised)));
  }

  function zoom(by) {
    camera.zoom = Math.min(20, Math.max(0.4, camera.zoom * by));
    ask();
  }

  function first() {
    camera.zoom = FIRST.zoom;
    look(THREE.MathUtils.degToRad(FIRST.turned), THREE.MathUtils.degToRad(FIRST.raised));
  }

  const KEYS = {
    ArrowLeft: () => turn(-TURN, 0), ArrowRight: () => turn(TURN, 0),
    ArrowUp: () => turn(0, RAISE), ArrowDown: () => turn(0, -RAISE),
    "+": () => zoom(ZOOM), "-": () => zoom(1 / ZOOM), Home: first,
  };

  first();
  for (const {canvas} of views) {
    const controls = new THREE.OrbitControls(camera, canvas);
    controls.target = target;
    controls.enablePan = controls.enableZoom = false; // the wheel goes on scrolling the page
    controls.addEventListener("change", ask);
    canvas.style.touchAction = "pan-y"; // so does a finger that moves up or down
    canvas.addEventListener("keydown", (event) => {
      if (event.key in KEYS && !event.ctrlKey && !event.metaKey && !event.altKey) {
        event.preventDefault();
        KEYS[event.key]();
      }
    });
  }
  document.getElementById("nearer").addEventListener("click", () => zoom(ZOOM));
  document.getElementById("farther").addEventListener("click", () => zoom(1 / ZOOM));
  document.getElementById("reset").addEventListener("click", first);
  slider.addEventListener("input", () => { views.forEach(shape); ask(); });
  document.querySelectorAll("input[name=colour]").forEach((choice) => choice.addEventListener("change", () => {
    views.forEach(shape);
    for (const name of ["height", "stress"]) document.getElementById("scale-" + name).hidden = colour() !== name;
    ask();
  }));
  new ResizeObserver(ask).observe(document.getElementById("views"));
  views.forEach(shape);
})();
