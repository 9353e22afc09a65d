"""Settings of Sphinx for the handbook; all that it shows comes with it, without a network."""

from riskmap.contract.versions import package_versions

project = "riskmap handbook"
author = "riskmap contributors"
release = package_versions()["riskmap"]
extensions = ["myst_parser"]
root_doc = "index"
myst_heading_anchors = 4
myst_enable_extensions = ["colon_fence"]
suppress_warnings = ["misc.highlighting_failure"]
highlight_language = "none"
html_theme = "alabaster"
html_title = project
html_theme_options = {
    "description": "From open data to maps and priority lists of onsite systems",
    "fixed_sidebar": True,
    "page_width": "1100px",
    "sidebar_width": "260px",
    "show_powered_by": False,
}
html_sidebars = {"**": ["about.html", "searchfield.html", "navigation.html"]}
html_copy_source = False
html_show_sourcelink = False
html_use_index = False
html_static_path = ["static"]
html_css_files = ["handbook.css"]
