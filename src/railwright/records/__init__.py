"""Records: the format of a run's folder; `running` writes it, and everything that looks at a run reads it.

`names` says what each file is called; `log` and `manifest` need the standard library only.
"""
