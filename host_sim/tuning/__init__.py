"""Settings computed: the plant identified on the bench, settings chosen, every choice measured again."""
