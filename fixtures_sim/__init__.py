"""The bench in software: reached over TCP only, imports nothing of the other rooms."""
