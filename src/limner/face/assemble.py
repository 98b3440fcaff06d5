"""Builds the landmarker's bundle from the two published models it is made of.

The models come as they are in mediapipe 0.10.21 (Apache-2.0). Two changes make them fit the landmarker: each gets the
normalisation of its input written into its metadata, and the landmark model's seven outputs become the two the
landmarker reads, 478 points of three coordinates and the face flag.

Nothing here touches the network or a file: bytes in, bytes out, and the same bytes every time.
"""

from __future__ import annotations

import hashlib
import importlib
import io
import struct
import zipfile
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

DETECTOR_MEMBER = "face_detector.tflite"
LANDMARKS_MEMBER = "face_landmarks_detector.tflite"

MESH_POINTS = 468
ALL_POINTS = 478

# Which mesh point each refined point replaces, in the order of the refining outputs. From the graph
# tensors_to_face_landmarks_with_attention that mediapipe publishes with the model. "One" and "two" are the picture's
# left and right eye, which are the sitter's right and left.
LIPS = (
    *(61, 146, 91, 181, 84, 17, 314, 405, 321, 375, 291, 185, 40, 39, 37, 0, 267, 269, 270, 409),
    *(78, 95, 88, 178, 87, 14, 317, 402, 318, 324, 308, 191, 80, 81, 82, 13, 312, 311, 310, 415),
    *(76, 77, 90, 180, 85, 16, 315, 404, 320, 307, 306, 184, 74, 73, 72, 11, 302, 303, 304, 408),
    *(62, 96, 89, 179, 86, 15, 316, 403, 319, 325, 292, 183, 42, 41, 38, 12, 268, 271, 272, 407),
)
EYE_ONE = (
    *(33, 7, 163, 144, 145, 153, 154, 155, 133, 246, 161, 160, 159, 158, 157, 173),
    *(130, 25, 110, 24, 23, 22, 26, 112, 243, 247, 30, 29, 27, 28, 56, 190),
    *(226, 31, 228, 229, 230, 231, 232, 233, 244, 113, 225, 224, 223, 222, 221, 189),
    *(35, 124, 46, 53, 52, 65),
    *(143, 111, 117, 118, 119, 120, 121, 128, 245, 156, 70, 63, 105, 66, 107, 55, 193),
)
EYE_TWO = (
    *(263, 249, 390, 373, 374, 380, 381, 382, 362, 466, 388, 387, 386, 385, 384, 398),
    *(359, 255, 339, 254, 253, 252, 256, 341, 463, 467, 260, 259, 257, 258, 286, 414),
    *(446, 261, 448, 449, 450, 451, 452, 453, 464, 342, 445, 444, 443, 442, 441, 413),
    *(265, 353, 276, 283, 282, 295),
    *(372, 340, 346, 347, 348, 349, 350, 357, 465, 383, 300, 293, 334, 296, 336, 285, 417),
)
IRIS_ONE = (468, 469, 470, 471, 472)
IRIS_TWO = (473, 474, 475, 476, 477)
REFINED = (LIPS, EYE_ONE, EYE_TWO, IRIS_ONE, IRIS_TWO)

# The irises have no depth of their own; the graph averages sixteen eyelid points, which a plain selection cannot.
# Of the sixteen these two lie nearest that average (mean distance 0.012 pupil distances over 19 faces).
IRIS_DEPTH = dict.fromkeys(IRIS_ONE, 144) | dict.fromkeys(IRIS_TWO, 373)

_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
_ALIGNMENT = 4


def gather_indices() -> NDArray[np.int32]:
    """For each of the 478 x 3 wanted coordinates, its place in the six joined outputs of the landmark model.

    Returns:
        (1434,) array: x, y, z of point 0, x, y, z of point 1 and so on.
    """
    places = np.zeros((ALL_POINTS, 3), dtype=np.int32)
    places[:MESH_POINTS] = np.arange(MESH_POINTS * 3).reshape(MESH_POINTS, 3)
    for iris, eyelid in IRIS_DEPTH.items():
        places[iris, 2] = places[eyelid, 2]
    start = MESH_POINTS * 3
    for indices in REFINED:
        for order, index in enumerate(indices):
            places[index, :2] = (start + 2 * order, start + 2 * order + 1)
        start += 2 * len(indices)
    return places.reshape(-1)


def assemble(detector: bytes, landmarks: bytes) -> bytes:
    """The bundle the landmarker opens, from the two models as published.

    Args:
        detector: bytes of the short-range face detector.
        landmarks: bytes of the landmark model with attention.
    """
    found = _read_model(detector)
    _write_normalisation(found, mean=127.5, std=127.5)
    points = _read_model(landmarks)
    _join_outputs(points)
    _write_normalisation(points, mean=0.0, std=255.0)
    return _bundle({DETECTOR_MEMBER: _pack_model(found), LANDMARKS_MEMBER: _pack_model(points)})


def content_digest(bundle: bytes) -> str:
    """SHA-256 over what the bundle's models say, whichever release of flatbuffers laid out their bytes.

    Raises:
        ValueError: if it is not such a bundle.
    """
    digest = hashlib.sha256()
    try:
        with zipfile.ZipFile(io.BytesIO(bundle)) as archive:
            for name in (DETECTOR_MEMBER, LANDMARKS_MEMBER):
                digest.update(name.encode())
                _digest_tree(_read_model(archive.read(name)), digest)
    except (zipfile.BadZipFile, KeyError, struct.error) as error:
        raise ValueError(f"not a landmarker bundle: {error}") from error
    return digest.hexdigest()


def _digest_tree(node: Any, digest: Any) -> None:
    if isinstance(node, np.ndarray):
        digest.update(node.tobytes() if node.dtype == np.uint8 else repr(node.tolist()).encode())
    elif isinstance(node, list):
        if node and isinstance(node[0], int):
            digest.update(repr(node).encode())
        else:
            for item in node:
                _digest_tree(item, digest)
    elif hasattr(node, "__dict__"):
        for name, value in sorted(vars(node).items()):
            if value is not None:
                digest.update(name.encode())
                _digest_tree(value, digest)
    else:
        digest.update(repr(node).encode())


def _schema() -> Any:
    return importlib.import_module("mediapipe.tasks.metadata.schema_py_generated")


def _read_model(data: bytes) -> Any:
    schema = _schema()
    return schema.ModelT.InitFromObj(schema.Model.GetRootAs(data, 0))


def _pack_model(model: Any) -> bytes:
    flatbuffers = importlib.import_module("flatbuffers")
    builder = flatbuffers.Builder(4 * 1024 * 1024)
    builder.Finish(model.Pack(builder), b"TFL3")
    return bytes(builder.Output())


def _write_normalisation(model: Any, *, mean: float, std: float) -> None:
    """Says in the model's metadata that an input value v is to be given as (v - mean) / std."""
    tables = importlib.import_module("mediapipe.tasks.metadata.metadata_schema_py_generated")
    flatbuffers = importlib.import_module("flatbuffers")
    options = tables.NormalizationOptionsT()
    options.mean, options.std = [mean], [std]
    unit = tables.ProcessUnitT()
    unit.optionsType, unit.options = tables.ProcessUnitOptions.NormalizationOptions, options
    tensor = tables.TensorMetadataT()
    tensor.name, tensor.processUnits = "image", [unit]
    graph = tables.SubGraphMetadataT()
    graph.inputTensorMetadata = [tensor]
    metadata = tables.ModelMetadataT()
    metadata.subgraphMetadata = [graph]
    builder = flatbuffers.Builder(1024)
    builder.Finish(metadata.Pack(builder), b"M001")

    schema = _schema()
    entry = schema.MetadataT()
    entry.name, entry.buffer = "TFLITE_METADATA", _add_buffer(model, bytes(builder.Output()))
    model.metadata = [*(model.metadata or []), entry]


def _join_outputs(model: Any) -> None:
    """Joins the six point outputs and picks from them the one tensor of 478 points the landmarker reads."""
    schema = _schema()
    graph = model.subgraphs[0]
    *parts, flag = list(graph.outputs)
    indices = gather_indices()
    total = sum(int(graph.tensors[part].shape[-1]) for part in parts)

    kinds, operators = schema.TensorType, schema.BuiltinOperator
    joined = _add_tensor(model, "joined", (1, 1, 1, total), kinds.FLOAT32, 0)
    chosen = _add_tensor(
        model, "chosen", (indices.size,), kinds.INT32, _add_buffer(model, indices.astype("<i4").tobytes())
    )
    points = _add_tensor(model, "points", (1, 1, 1, indices.size), kinds.FLOAT32, 0)

    concatenate = schema.ConcatenationOptionsT()
    concatenate.axis = 3
    gather = schema.GatherOptionsT()
    gather.axis = 3
    _add_operator(
        model, operators.CONCATENATION, parts, [joined], schema.BuiltinOptions.ConcatenationOptions, concatenate
    )
    _add_operator(model, operators.GATHER, [joined, chosen], [points], schema.BuiltinOptions.GatherOptions, gather)
    graph.outputs = [points, flag]


def _add_buffer(model: Any, data: bytes) -> int:
    buffer = _schema().BufferT()
    buffer.data = np.frombuffer(data, dtype=np.uint8)
    model.buffers.append(buffer)
    return len(model.buffers) - 1


def _add_tensor(model: Any, name: str, shape: tuple[int, ...], kind: int, buffer: int) -> int:
    tensor = _schema().TensorT()
    tensor.name, tensor.shape, tensor.type, tensor.buffer = name, list(shape), kind, buffer
    model.subgraphs[0].tensors.append(tensor)
    return len(model.subgraphs[0].tensors) - 1


def _add_operator(model: Any, code: int, inputs: list[int], outputs: list[int], kind: int, options: Any) -> None:
    schema = _schema()
    listed = schema.OperatorCodeT()
    listed.builtinCode = listed.deprecatedBuiltinCode = code
    model.operatorCodes.append(listed)
    operator = schema.OperatorT()
    operator.opcodeIndex = len(model.operatorCodes) - 1
    operator.inputs, operator.outputs = inputs, outputs
    operator.builtinOptionsType, operator.builtinOptions = kind, options
    model.subgraphs[0].operators.append(operator)


def _bundle(members: Mapping[str, bytes]) -> bytes:
    """An uncompressed zip whose members' data start at multiples of four bytes; the same bytes every time."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, data in members.items():
            entry = zipfile.ZipInfo(name, date_time=_ZIP_DATE)
            entry.create_system = 3  # the same on every platform
            entry.external_attr = 0o644 << 16
            start = out.tell() + 30 + len(name.encode())
            padding = (-start - 4) % _ALIGNMENT  # an extra field has a head of four bytes
            entry.extra = struct.pack("<HH", 0x4C4D, padding) + bytes(padding)
            archive.writestr(entry, data)
    return out.getvalue()
