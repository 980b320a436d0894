"""A real browser for the tests of pages: headless Chromium, as a phone or a desk shows a page.

Needs Debian's chromium, chromium-driver and python3-selenium, and npm for the checker of
accessibility rules (axe-core, at the version below).
"""
import os
import subprocess

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

AXE_VERSION = "4.10.3"
PHONE = (390, 844)
DESK = (1280, 900)
# What a hostile record may say; a page where one of them ran has window.ran set.
ATTACKS = ['"><img src=x onerror="window.ran=1">', "</script><script>window.ran=1</script>",
           "<svg onload=window.ran=1>", "javascript:window.ran=1", "${window.ran=1}",
           "</textarea><iframe srcdoc='<script>parent.ran=1</script>'>", "' onfocus='window.ran=1'",
           "<!--<script>window.ran=1//", "<style>@import 'javascript:window.ran=1'</style>",
           "</title></dt><object data=javascript:window.ran=1>"]


def module(program, name, version):
    """The folder of a module of npm, kept beside the program; fails loudly where it cannot be had."""
    folder = os.path.join(os.path.dirname(program), f"{name}-{version}")
    path = os.path.join(folder, "node_modules", name)
    if not os.path.exists(path):
        subprocess.run(["npm", "install", "--silent", "--no-audit", "--no-fund", "--no-save",
                        "--ignore-scripts", "--prefix", folder, f"{name}@{version}"], check=True)
    return path


def axe_source(program):
    """The checker's script."""
    path = os.path.join(module(program, "axe-core", AXE_VERSION), "axe.min.js")
    with open(path, encoding="utf-8") as file:
        return file.read()


def violations(browser, axe):
    """What the checker finds wrong with the page as it is shown now."""
    browser.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
    version, found, passed = browser.execute_async_script(
        "const done = arguments[0];"
        "axe.run(document, {resultTypes: ['violations']}).then((r) => done([r.testEngine.version,"
        " r.violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.html).join(' | ')),"
        " r.passes.length]))")
    assert version == AXE_VERSION and passed > 5, (version, passed)
    return found


def start(size=PHONE, dark=False, downloads=None, before=None):
    """A browser with an empty page. `before`: a script that runs before any page's own."""
    chrome = webdriver.ChromeOptions()
    # With RenderDocument, Chromium 156 shows some pages of files an empty localStorage.
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
                     "--disable-features=RenderDocument",
                     f"--window-size={size[0]},{size[1]}"):
        chrome.add_argument(argument)
    if size == PHONE:
        chrome.add_experimental_option("mobileEmulation", {
            "deviceMetrics": {"width": size[0], "height": size[1], "pixelRatio": 2, "touch": True}})
    chrome.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    browser = webdriver.Chrome(service=Service("/usr/bin/chromedriver"), options=chrome)
    set_up(browser, dark, downloads, before)
    return browser


def set_up(browser, dark=False, downloads=None, before=None):
    """What holds for one tab, save that all share the folder of downloads."""
    if downloads:
        browser.execute_cdp_cmd("Browser.setDownloadBehavior",
                                {"behavior": "allow", "downloadPath": downloads})
    if dark:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {
            "features": [{"name": "prefers-color-scheme", "value": "dark"}]})
    if before:
        browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": before})


def faults(browser):
    """What the browser complained of since the last look."""
    return [e for e in browser.get_log("browser") if e["level"] in ("SEVERE", "WARNING")]
