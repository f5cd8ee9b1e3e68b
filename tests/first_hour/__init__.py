"""The first hour with exports of three invented companies, from raw files to a plan by `docs/how-to-own-data.md`.

``python -m tests.first_hour`` writes the exports, follows the page word by word and prints what it took.
"""

from tests.first_hour.american import american
from tests.first_hour.dutch import dutch
from tests.first_hour.french import french

EXPORTS = {"dutch": dutch, "french": french, "american": american}
