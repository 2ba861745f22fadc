"""What each command does, a module each; `station.cli` names them and their options."""
