"""What a club shares, in open standards.

`sharing.share` decides what of a journal may leave, and strips the rest; all that comes after sees nothing else.
`publication.publication` writes it as files: a Darwin Core Archive, and a Frictionless Data Package of the same rows.
"""
