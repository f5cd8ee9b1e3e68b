"""The answer to an emergency on disk: emergency.json, the page and the sheet, each replaced as a whole."""
