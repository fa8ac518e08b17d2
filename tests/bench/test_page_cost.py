"""Size of the comparison page, the time to write it and to turn it; nothing here passes or fails by the clock.

MKL_NUM_THREADS=1 python -m pytest tests/bench/test_page_cost.py -m bench --benchmark-enable -s
"""

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from fem.case import case as cases
from fem.comparison import compare

pytestmark = pytest.mark.bench
DEMO = Path(__file__).parents[2] / "configs" / "demo"
NAMES = "circle-20", "lens-2-1", "lens-3-1", "lens-4-1"
SOFTWARE = ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
TURN = """async () => {
  const canvas = document.querySelector("canvas[data-case]"), start = performance.now();
  for (let i = 0; i < 20; i++) {
    canvas.dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowLeft"}));
    await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
    canvas.getContext("2d").getImageData(0, 0, 1, 1);
  }
  return (performance.now() - start) / 20;
}"""


def test_page_of_four_demo_cases(benchmark, tmp_path):
    """Four cases on their default meshes; to be reached: below 12 MB."""
    asked = [cases.read(DEMO / f"{name}.yaml") for name in NAMES]
    results = compare.results(asked, compare.solve_missing(asked, into=tmp_path), into=tmp_path)
    page = benchmark.pedantic(compare.write, args=(results,), kwargs={"into": tmp_path}, rounds=1)[0]
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=SOFTWARE)
        tab = browser.new_page(viewport={"width": 1600, "height": 1000})
        tab.goto(page.as_uri())
        turn = tab.evaluate(TURN)
        browser.close()
    size = page.stat().st_size / 1e6
    benchmark.extra_info.update(size_MB=size, turn_ms=turn)
    print(f"\npage {size:.1f} MB, a turn by one key {turn:.0f} ms, drawn in software")
    assert size < 12
