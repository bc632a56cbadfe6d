"""From pad colours to a pH with its interval: profile, posterior, verdicts, and several strips or photos of one
liquid together. `read` is the whole path of a photo; nothing here finds things in pictures."""
