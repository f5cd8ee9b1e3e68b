"""Emergency answers checked from raw layers and emergency.json alone; nothing of the program is used."""
