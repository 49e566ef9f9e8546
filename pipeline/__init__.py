"""liltwright: from a dance tune heard to a solo fingerstyle guitar arrangement."""
