"""The shapes of the ground: surfaces at a scale, their tops, saddles, ridges, valleys, edges and levels."""
