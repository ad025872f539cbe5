"""Signed exam records in, documents and exchange files out: the clinical record, the sheet to take home, FHIR, tables, dates.

Never writes a word that the vet did not sign, but for the fixed words of its own templates.
"""
