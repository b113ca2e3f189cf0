"""In which words the papers speak: one catalogue a language, English and German shipped, others from a file."""

from benchtest.language.catalogue import SHIPPED, Catalogue, Language, english, gaps_of, language, shipped

__all__ = ["SHIPPED", "Catalogue", "Language", "english", "gaps_of", "language", "shipped"]
