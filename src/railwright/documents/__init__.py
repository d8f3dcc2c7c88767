"""Documents: what people write (device, bench, procedure); YAML in, frozen models in SI units out."""
