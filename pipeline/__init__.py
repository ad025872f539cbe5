"""The stages of Rostral, in the order the data passes them: capture, speech, extraction, record."""
