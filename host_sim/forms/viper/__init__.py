"""The board form: every component's methods as viper functions over one array of 32-bit numbers."""
