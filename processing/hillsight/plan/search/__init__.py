"""Where on a map a photograph may have been taken: very many places, coarse to fine."""
