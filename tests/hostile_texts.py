"""Thirty texts that a survey may bring and that no paper may take for anything but text.

Scripts, markup, template syntax, formulas, right-to-left marks, line separators, 10,000
characters, other scripts than Latin. Common attacks; no source.
"""

from __future__ import annotations

from typing import Final

HOSTILE: Final = (
    "</script><img src=x onerror=\"document.title='run'\">", "<script>document.title='run'</script>",
    "<svg onload=document.title='run'>", "javascript:document.title='run'", "`${document.title='run'}`",
    "{{ 7*7 }}", "{% raw %}", "{% endraw %}", "${1+1}", "$name $data $packed", "<%= 7*7 %>", "#{7*7}",
    "\\1 \\g<0> \\u003c", "&lt;b&gt;&amp;", "<!-- comment", "]]>", "' OR 1=1 --", '"><b>bold</b>',
    "\u202egnp.exe", "\u2066left\u2069", "\u2028line\u2029paragraph", "=1+1", "+cmd|' /C calc'!A0", "@SUM(A1)",
    "-2+3", "\U0001f300 \u0627\u0644\u0645\u0627\u0621 \u6c34", "%s %d %n", "<style>*{display:none}</style>",
    "x" * 10000, "</textarea></title><iframe src=//host.invalid>",
)  # fmt: skip
