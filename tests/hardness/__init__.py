"""Files that are damaged, endless or made to harm: each is read or refused in one sentence."""
