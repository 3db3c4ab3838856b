"""The catalogue of fault patterns: readable data, in the trade's words."""
