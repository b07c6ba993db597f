"""What is a file called that is taken away from the app?"""

from __future__ import annotations

import re

from panel.app.state import StudyInUse


def file_name(study: StudyInUse) -> str:
    """Return a name for files of a study, without ending: letters, digits and underscores of its title."""
    words = str(study.study.facts.get("title") or study.handle.name)
    return re.sub(r"[^\w-]+", "_", words).strip("_").lower()[:60] or "study"
