from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_pipelines import json_features
from data_pipelines.json_features import count_elements

LEAF = st.none() | st.integers() | st.text(st.sampled_from('ab",\\{}[]é'), max_size=5)
NODE = st.recursive(LEAF, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(
    st.sampled_from("abc"), max_size=2), inner, max_size=3), max_leaves=8)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.lists(NODE, max_size=5), NODE, st.integers(1, 40))
def test_elements_are_counted_across_pieces(elements, after, piece):
    # Oracle: the parser of the standard library; here the text is never parsed.
    content = json.dumps({"features": elements, "z": after}).encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(json_features, "_PIECE", piece)
        assert count_elements(content) == len(json.loads(content)["features"])


def test_no_list_of_features():
    assert count_elements(b'{"type": "Topology", "objects": {}}') is None
