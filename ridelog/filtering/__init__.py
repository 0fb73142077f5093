"""Track -> Motion: flags, noise, smoothing and draws of the motion."""
