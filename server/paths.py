"""Where templates, static files and demo data lie: in the checkout, or inside the wheel."""

from importlib.resources import files
from pathlib import Path

_HERE = Path(__file__).resolve().parent
_BUNDLED = _HERE / "_assets"
ROOT = _BUNDLED if _BUNDLED.is_dir() else _HERE.parent

TEMPLATES = ROOT / "templates"
STATIC = ROOT / "static"
DEMO_DATA = ROOT / "demo_data"
HTMX = Path(str(files("js_lib_htmx"))) / "static" / "htmx" / "htmx.min.js"
