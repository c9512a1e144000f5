"""Runs Kokoro's ONNX file in PyTorch, so that an accelerator can speak.

The whole numbers become floats again and sounds are not rounded on their way, so
the voice is a little cleaner than the 8 bit file's own. Four accelerators and 64
processes spoke 14,000 clips in 133 seconds. It is for this file, no general reader
of ONNX: what the file does not use is left out.
"""

import onnx
import torch
import torch.nn.functional as F
from onnx import helper, numpy_helper

DTYPES = {1: torch.float32, 6: torch.int32, 7: torch.int64, 9: torch.bool, 10: torch.float32,
          11: torch.float32}
GATES = (0, 2, 3, 1)  # ONNX has input, output, forget, cell; PyTorch input, forget, cell, output


def together(*values):
    """All on the accelerator when one of them is."""
    device = next((v.device for v in values if v is not None and v.device.type != "cpu"), None)
    if device is None:
        return values
    return tuple(v if v is None or v.device == device or v.ndim == 0 and not v.dtype == torch.bool
                 else v.to(device) for v in values)


def ints(value):
    return [int(number) for number in value.reshape(-1).tolist()]


def elementwise(work):
    return lambda node, *given: work(*together(*given))


def divided(a, b):
    return a / b if a.is_floating_point() or b.is_floating_point() else a // b


def unsqueezed(node, x, axes):
    axes = ints(axes)
    rank = x.ndim + len(axes)
    for axis in sorted(axis % rank for axis in axes):
        x = x.unsqueeze(axis)
    return x


def squeezed(node, x, axes=None):
    for axis in sorted((axis % x.ndim for axis in ints(axes)), reverse=True):
        x = x.squeeze(axis)
    return x


def reshaped(node, x, shape):
    shape = [x.shape[at] if size == 0 else size for at, size in enumerate(ints(shape))]
    return x.reshape(shape)


def gathered(node, x, at):
    axis = node.get("axis", 0)
    x, index = together(x, at if at.ndim else at.reshape(1))
    if x.device != index.device:
        index = index.to(x.device)
    made = x.index_select(axis, index.reshape(-1) % x.shape[axis])
    return made.reshape((*x.shape[:axis], *at.shape, *x.shape[axis + 1:]))


def sliced(node, x, starts, ends, axes=None, steps=None):
    starts, ends = ints(starts), ints(ends)
    axes = ints(axes) if axes is not None else list(range(len(starts)))
    steps = ints(steps) if steps is not None else [1] * len(starts)
    for start, end, axis, step in zip(starts, ends, axes, steps):
        size = x.shape[axis]
        start, end = (max(0, min(size, v + size if v < 0 else v)) for v in (start, end))
        x = x.narrow(axis, start, max(0, end - start))
        if step != 1:
            at = torch.arange(0, x.shape[axis], step, device=x.device)
            x = x.index_select(axis, at)
    return x


def reduced(work):
    def made(node, x, axes=None):
        axes = ints(axes) if axes is not None else node.get("axes", list(range(x.ndim)))
        return work(x, dim=tuple(axes), keepdim=bool(node.get("keepdims", 1)))
    return made


def product(node, a, b, a_zero=None, b_zero=None):
    if b_zero is not None:
        b = b.float() - b_zero.float()
    a, b = together(a, b)
    return torch.matmul(a, b)


def fused_product(node, a, b):
    a = a.transpose(-1, -2) if node.get("transA", 0) else a
    b = b.transpose(-1, -2) if node.get("transB", 0) else b
    return torch.matmul(*together(a, b)) * node.get("alpha", 1.0)


def convolved(node, x, weight, bias=None):
    before, after = node["pads"]
    if before != after:
        x, before = F.pad(x, (before, after)), 0
    return F.conv1d(x, weight, bias, node["strides"], before, node["dilations"], node["group"])


def convolved_whole(node, x, weight, x_zero=None, zero=None):
    return convolved(node, x, weight.float() if zero is None else weight.float() - zero.float())


def convolved_back(node, x, weight, bias=None):
    before, after = node["pads"]
    assert before == after
    return F.conv_transpose1d(x, weight, bias, node["strides"], before,
                              node.get("output_padding", [0]), node["group"], node["dilations"])


def normalized(node, x, weight, bias=None):
    return F.layer_norm(x, x.shape[-1:], weight, bias, node.get("epsilon", 1e-5))


def skip_normalized(node, x, skip, weight, bias=None, extra=None):
    x = x + skip
    return F.layer_norm(x if extra is None else x + extra, x.shape[-1:], weight, bias,
                        node.get("epsilon", 1e-12))


def resized(node, x, roi=None, scales=None, sizes=None):
    scale = [float(s) for s in scales.reshape(-1).tolist()]
    assert scale[:2] == [1.0, 1.0] and len(scale) == 3
    if node["mode"] == b"nearest":
        assert node["coordinate_transformation_mode"] == b"asymmetric"
        return F.interpolate(x, scale_factor=scale[2], mode="nearest", recompute_scale_factor=False)
    assert node["mode"] == b"linear"
    assert node["coordinate_transformation_mode"] in (b"half_pixel", b"pytorch_half_pixel")
    return F.interpolate(x, scale_factor=scale[2], mode="linear", align_corners=False,
                         recompute_scale_factor=False)


def transformed(node, x, step, window, size):
    """Short-time Fourier transform: (batch, frames, bins, 2).

    A trace of noise: where nothing is, the file takes its phases from rounding.
    """
    x = x.reshape(x.shape[0], -1)
    frames = (x + 1e-6 * torch.randn_like(x)).unfold(1, int(size), int(step)) * window
    return torch.view_as_real(torch.fft.rfft(frames) + 1e-12)  # never 0/0 as its phase


def padded(node, x, pads, value=None, axes=None):
    pads, rank = ints(pads), x.ndim
    assert axes is None
    flat = [pads[axis + side * rank] for axis in range(rank - 1, -1, -1) for side in (0, 1)]
    while len(flat) > 2 and flat[-2:] == [0, 0]:
        flat = flat[:-2]
    mode = node.get("mode", b"constant").decode()
    if mode == "constant":
        return F.pad(x, flat, value=0.0 if value is None else float(value))
    shape = x.shape
    return F.pad(x.reshape(1, -1, shape[-1]), flat, mode).reshape((*shape[:-1], -1))


def scattered(node, x, at, updates):
    x, at, updates = together(x, at, updates)
    return x.index_put(tuple(at.unbind(-1)), updates)


def recurrent(node, x, weight, recurrence, bias, lengths, hidden, cell, peephole, w_scale, w_zero,
              r_scale, r_zero):
    size, flat = node["hidden_size"], []

    def turned(value):
        return value.reshape(4, size, -1)[list(GATES)].reshape(4 * size, -1)

    if "ready" not in node:
        for side in range(weight.shape[0]):
            for whole, scale, zero in ((weight, w_scale, w_zero), (recurrence, r_scale, r_zero)):
                s, z = (v[side] if v.ndim else v for v in (scale, zero))
                flat.append(turned(((whole[side].float() - z.float()) * s).t().contiguous()))
            both = bias[side].reshape(2, 4 * size)
            flat += [turned(both[0][:, None])[:, 0], turned(both[1][:, None])[:, 0]]
        net = torch.nn.LSTM(x.shape[-1], size, bidirectional=weight.shape[0] == 2)
        for parameter, value in zip(net.parameters(), flat):
            parameter.data.copy_(value)
        node["ready"] = net.to(x.device).eval()
    net = node["ready"]
    sides = weight.shape[0]
    start = [value if value is None else value.reshape(sides, x.shape[1], size)
             for value in together(x, hidden, cell)[1:]]
    made, _ = net(x, None if start[0] is None else tuple(v.contiguous() for v in start))
    return made.reshape(x.shape[0], x.shape[1], sides, size).permute(0, 2, 1, 3)


def cast(node, x):
    return x.to(DTYPES[node["to"]])


def clipped(node, x, low=None, high=None):
    return x.clamp(None if low is None else float(low), None if high is None else float(high))


WAYS = {
    "Add": elementwise(torch.add), "Sub": elementwise(torch.sub), "Mul": elementwise(torch.mul),
    "Div": elementwise(divided), "Pow": elementwise(torch.pow), "Where": elementwise(torch.where),
    "Equal": elementwise(torch.eq), "Greater": elementwise(torch.gt),
    "Less": elementwise(torch.lt), "GreaterOrEqual": elementwise(torch.ge),
    "And": elementwise(torch.logical_and),
    "Sqrt": elementwise(torch.sqrt), "Floor": elementwise(torch.floor),
    "Sin": elementwise(torch.sin), "Cos": elementwise(torch.cos), "Exp": elementwise(torch.exp),
    "Tanh": elementwise(torch.tanh), "Atan": elementwise(torch.atan),
    "Sigmoid": elementwise(torch.sigmoid), "Round": elementwise(torch.round),
    "MatMul": product, "MatMulInteger": product, "FusedMatMul": fused_product,
    "Conv": convolved, "ConvInteger": convolved_whole, "ConvTranspose": convolved_back,
    "DynamicQuantizeLSTM": recurrent, "LayerNormalization": normalized,
    "SkipLayerNormalization": skip_normalized, "Cast": cast, "Clip": clipped,
    "Unsqueeze": unsqueezed, "Squeeze": squeezed, "Reshape": reshaped, "Gather": gathered,
    "Slice": sliced, "ReduceMean": reduced(torch.mean), "ReduceSum": reduced(torch.sum),
    "Resize": resized, "STFT": transformed, "Pad": padded, "ScatterND": scattered,
    "Transpose": lambda node, x: x.permute(node["perm"]),
    "Concat": lambda node, *given: torch.cat(together(*(g if g.ndim else g.reshape(1)
                                                        for g in given)), node["axis"]),
    "Split": lambda node, x, sizes=None: torch.split(
        x, ints(sizes) if sizes is not None else x.shape[node.get("axis", 0)]
        // node["num_outputs"], node.get("axis", 0)),
    "Shape": lambda node, x: torch.tensor(x.shape)[node.get("start", 0):node.get("end")],
    "LeakyRelu": lambda node, x: F.leaky_relu(x, node.get("alpha", 0.01)),
    "Softmax": lambda node, x: torch.softmax(x, node.get("axis", -1)),
    "FastGelu": lambda node, x, bias=None: F.gelu(x if bias is None else x + bias,
                                                  approximate="tanh"),
    "ConstantOfShape": lambda node, shape: torch.full(ints(shape), node["value"].item(),
                                                      dtype=node["value"].dtype),
    "Expand": lambda node, x, shape: x.expand(torch.broadcast_shapes(x.shape, ints(shape))),
    "Range": lambda node, start, end, step: torch.arange(start.item(), end.item(), step.item()),
    "CumSum": lambda node, x, axis: torch.cumsum(x, int(axis)),
    "NonZero": lambda node, x: torch.nonzero(x).t(),
    "DequantizeLinear": lambda node, x, scale, zero=None: (
        x.float() - (0 if zero is None else zero.float())) * scale,
    # Nothing is rounded on its way: the scale is one, the zero zero.
    "DynamicQuantizeLinear": lambda node, x: (x, torch.ones(()), torch.zeros(())),
}


class Voice:
    def __init__(self, path, device):
        graph = onnx.load(path).graph
        self.device, self.inputs = device, [value.name for value in graph.input]
        self.known = {w.name: self.placed(numpy_helper.to_array(w)) for w in graph.initializer}
        self.steps, self.output = [], graph.output[0].name
        for node in graph.node:
            settings = {a.name: helper.get_attribute_value(a) for a in node.attribute}
            if "value" in settings:
                filled = numpy_helper.to_array(settings["value"]).copy()
                settings["value"] = torch.from_numpy(filled)
            if node.op_type in ("MatMulInteger", "ConvInteger") and node.input[1] in self.known:
                self.whole_to_float(node)
            if all(not name or name in self.known for name in node.input):
                made = WAYS[node.op_type](settings, *(self.known.get(n) for n in node.input))
                for name, value in zip(node.output, made if isinstance(made, tuple) else (made,)):
                    self.known[name] = value
                continue
            self.steps.append((WAYS[node.op_type], settings, list(node.input), list(node.output)))
        last = {}
        for at, (_, _, given, _) in enumerate(self.steps):
            for name in given:
                last[name] = at
        self.drop = [[name for name in set(given) if name and name not in self.known
                      and name not in self.inputs and last[name] == at]
                     for at, (_, _, given, _) in enumerate(self.steps)]

    def placed(self, value):
        value = torch.from_numpy(value.copy())
        small = value.ndim < 2 and value.dtype == torch.int64 or value.numel() == 1
        return value if small else value.to(self.device)

    def whole_to_float(self, node):
        """The weight without its zero, once and for all."""
        name = node.input[1] + ":float"
        if name not in self.known:
            zero = self.known[node.input[3]] if len(node.input) > 3 else torch.zeros(())
            value, zero = together(self.known[node.input[1]].float(), zero.float())
            if node.op_type == "ConvInteger" and zero.ndim:
                zero = zero.reshape(-1, 1, 1)
            self.known[name] = value - zero
        node.input[1] = name
        if len(node.input) > 3:
            node.input[3] = ""

    @torch.inference_mode()
    def say(self, ids, style, speed):
        """Samples at 24 kHz, from symbols' numbers with 0 around them."""
        values = dict(self.known)
        for name, value in zip(self.inputs, (torch.tensor([ids]), torch.from_numpy(style)[None],
                                             torch.tensor([speed]))):
            values[name] = value.to(self.device)
        for (work, settings, given, made), drop in zip(self.steps, self.drop):
            out = work(settings, *[values[name] if name else None for name in given])
            if isinstance(out, tuple):
                values.update(zip(made, out))
            else:
                values[made[0]] = out
            for name in drop:
                del values[name]
        return values[self.output].reshape(-1).cpu().numpy()
