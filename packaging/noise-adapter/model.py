"""The recogniser (Moonshine tiny) in plain PyTorch, its adapter, its spelling.

Weights come from the ONNX files that `packaging/models` makes, as they are used:
whole numbers and a scale. An adapter adds `SCALE * B @ A` to each encoder linear
and to the linears of the decoder's cross-attention. While it is trained, the sum
is rounded to 255 steps, as it will be when it is merged.

usage: model.py MODELS-FOLDER BASE.npz      takes the weights out of the ONNX files
"""

import json
import math
import pathlib
import sys

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

WIDTH, HEADS, HEAD, TURNED, LAYERS = 288, 8, 36, 32, 6
SCALE = 2.0
RANK_ENCODER, RANK_DECODER = 32, 16
BEGIN, END = 1, 2


def initializer_names(encoder, decoder):
    """The model's linears: their names and where their weights stand in ONNX.

    Takes the matrix products' weights in the order of the graphs' nodes, those of
    the encoder and those of the decoder's first step.
    """
    names = {}
    parts = ["self_attn.k_proj", "self_attn.q_proj", "self_attn.v_proj", "self_attn.o_proj",
             "mlp.fc1", "mlp.fc2"]
    for layer in range(LAYERS):
        for part, name in zip(parts, encoder[6 * layer:]):
            names[f"encoder.layers.{layer}.{part}"] = name
    for place, name in enumerate(decoder[:LAYERS]):
        names[f"decoder.layers.{LAYERS - 1 - place}.encoder_attn.k_proj"] = name
    parts = ["self_attn.k_proj", "self_attn.q_proj", "self_attn.v_proj", "self_attn.o_proj",
             "encoder_attn.q_proj", "encoder_attn.v_proj", "encoder_attn.o_proj",
             "mlp.fc1", "mlp.fc2"]
    for layer in range(LAYERS):
        for part, name in zip(parts, decoder[LAYERS + 9 * layer:]):
            names[f"decoder.layers.{layer}.{part}"] = name
    return names


def read_onnx(folder):
    """The weights by PyTorch's names: whole numbers with a scale, and floats."""
    import onnx
    from onnx import numpy_helper
    stored, products = {}, {}
    for file in ("encoder_model", "decoder_first"):
        graph = onnx.load(pathlib.Path(folder) / f"{file}.onnx").graph
        stored[file] = {w.name: numpy_helper.to_array(w) for w in graph.initializer}
        products[file] = [n.input[1] for n in graph.node if n.op_type == "MatMulInteger"]
    encoder, decoder = stored["encoder_model"], stored["decoder_first"]
    assert len(products["encoder_model"]) == 36 and len(products["decoder_first"]) == 61
    found = {}
    names = initializer_names(products["encoder_model"], products["decoder_first"])
    for name, place in names.items():
        weights = encoder if name.startswith("encoder") else decoder
        scale = weights[place.replace("_quantized_signed", "_scale")]
        found[f"{name}.weight:whole"] = np.ascontiguousarray(weights[place].T)
        found[f"{name}.weight:scale"] = scale.reshape(())
    table = "model.decoder.embed_tokens.weight_merged_0"
    whole = decoder[f"{table}_quantized"].astype(np.int16) - int(
        decoder[f"{table}_zero_point"].reshape(()))
    found["decoder.embed.weight:whole"] = whole
    found["decoder.embed.weight:scale"] = decoder[f"{table}_scale"].reshape(())
    for name, value in encoder.items():
        if value.dtype == np.float32 and name.startswith(("conv", "layer")):
            found["encoder." + name.replace("_add_tensor", "")] = value
    found["encoder.groupnorm.weight"] = encoder["onnx::Mul_2080"].reshape(-1)
    found["encoder.groupnorm.bias"] = encoder["onnx::Add_2081"].reshape(-1)
    for name, value in decoder.items():
        if value.dtype == np.float32 and value.ndim == 1 and name.startswith("model.decoder."):
            found[name.removeprefix("model.").replace("_merged_0", "")] = value
    return found


def rounded(weight):
    """The weight as it is after merging: 255 steps from its least to its most."""
    with torch.no_grad():
        step = (weight.amax().clamp_min(0) - weight.amin().clamp_max(0)) / 255
        change = torch.round(weight / step) * step - weight
    return weight + change


class Linear(nn.Module):
    def __init__(self, inputs, outputs, bias=False):
        super().__init__()
        self.weight = nn.Parameter(torch.zeros(outputs, inputs))
        self.bias = nn.Parameter(torch.zeros(outputs)) if bias else None
        self.A = self.B = None

    def adapt(self, rank):
        outputs, inputs = self.weight.shape
        self.A = nn.Parameter(torch.randn(rank, inputs) / math.sqrt(inputs))
        self.B = nn.Parameter(torch.zeros(outputs, rank))

    def forward(self, x):
        weight = self.weight
        if self.A is not None:
            weight = rounded(weight + SCALE * (self.B @ self.A))
        return F.linear(x, weight, self.bias)


class Norm(nn.Module):
    def __init__(self):
        super().__init__()
        self.weight = nn.Parameter(torch.ones(WIDTH))

    def forward(self, x):
        return F.layer_norm(x, (WIDTH,), self.weight, None, 1e-5)


def turns(count, device):
    speeds = 1.0 / 10000 ** (torch.arange(0, TURNED, 2, device=device).float() / TURNED)
    angle = torch.arange(count, device=device).float()[:, None] * speeds
    return torch.cos(angle).repeat_interleave(2, -1), torch.sin(angle).repeat_interleave(2, -1)


def turned(x, by):
    cos, sin = by
    head, rest = x[..., :TURNED], x[..., TURNED:]
    swapped = torch.stack((-head[..., 1::2], head[..., 0::2]), -1).flatten(-2)
    return torch.cat((head * cos + swapped * sin, rest), -1).to(x.dtype)


class Attention(nn.Module):
    def __init__(self):
        super().__init__()
        self.q_proj, self.k_proj, self.v_proj, self.o_proj = (
            Linear(WIDTH, WIDTH) for _ in range(4))

    def forward(self, x, over=None, by=None, causal=False):
        source = x if over is None else over

        def heads(y):
            return y.view(y.shape[0], -1, HEADS, HEAD).transpose(1, 2)

        q, k, v = heads(self.q_proj(x)), heads(self.k_proj(source)), heads(self.v_proj(source))
        if by is not None:
            q, k = turned(q, by), turned(k, by)
        if k.shape[0] != q.shape[0]:  # several hypotheses for each sound
            each = q.shape[0] // k.shape[0]
            q = q.reshape(k.shape[0], each, HEADS, -1, HEAD).transpose(1, 2).flatten(2, 3)
            y = F.scaled_dot_product_attention(q, k, v, scale=1 / 6)
            y = y.reshape(k.shape[0], HEADS, each, -1, HEAD).transpose(1, 2).flatten(0, 1)
        else:
            y = F.scaled_dot_product_attention(q, k, v, is_causal=causal, scale=1 / 6)
        return self.o_proj(y.transpose(1, 2).reshape(x.shape))


class Mlp(nn.Module):
    def __init__(self, gated):
        super().__init__()
        self.gated = gated
        self.fc1 = Linear(WIDTH, 2304 if gated else 1152, True)
        self.fc2 = Linear(1152, WIDTH, True)

    def forward(self, x):
        x = self.fc1(x)
        if self.gated:
            value, gate = x.chunk(2, -1)
            return self.fc2(F.silu(gate) * value)
        return self.fc2(F.gelu(x))


class EncoderLayer(nn.Module):
    def __init__(self):
        super().__init__()
        self.self_attn, self.mlp = Attention(), Mlp(False)
        self.input_layernorm, self.post_attention_layernorm = Norm(), Norm()

    def forward(self, x, by):
        x = x + self.self_attn(self.input_layernorm(x), by=by)
        return x + self.mlp(self.post_attention_layernorm(x))


class DecoderLayer(nn.Module):
    def __init__(self):
        super().__init__()
        self.self_attn, self.encoder_attn, self.mlp = Attention(), Attention(), Mlp(True)
        self.input_layernorm, self.post_attention_layernorm = Norm(), Norm()
        self.final_layernorm = Norm()

    def forward(self, x, sound, by):
        x = x + self.self_attn(self.input_layernorm(x), by=by, causal=True)
        x = x + self.encoder_attn(self.post_attention_layernorm(x), over=sound)
        return x + self.mlp(self.final_layernorm(x))


class Encoder(nn.Module):
    def __init__(self):
        super().__init__()
        self.conv1 = nn.Conv1d(1, WIDTH, 127, 64, bias=False)
        self.conv2 = nn.Conv1d(WIDTH, 2 * WIDTH, 7, 3)
        self.conv3 = nn.Conv1d(2 * WIDTH, WIDTH, 3, 2)
        self.groupnorm = nn.GroupNorm(1, WIDTH, eps=1e-5)
        self.layers = nn.ModuleList(EncoderLayer() for _ in range(LAYERS))
        self.layer_norm = Norm()

    def forward(self, sound):
        with torch.autocast(sound.device.type, enabled=False):
            x = self.groupnorm(torch.tanh(self.conv1(sound[:, None].float())))
        x = F.gelu(self.conv3(F.gelu(self.conv2(x)))).transpose(1, 2)
        by = turns(x.shape[1], x.device)
        for layer in self.layers:
            x = layer(x, by)
        return self.layer_norm(x)


class Decoder(nn.Module):
    def __init__(self):
        super().__init__()
        self.embed = nn.Embedding(32768, WIDTH)
        self.layers = nn.ModuleList(DecoderLayer() for _ in range(LAYERS))
        self.norm = Norm()

    def forward(self, tokens, sound, last=False):
        x, by = self.embed(tokens), turns(tokens.shape[1], sound.device)
        for layer in self.layers:
            x = layer(x, sound, by)
        x = self.norm(x[:, -1:] if last else x)
        return x @ self.embed.weight.t()


class Moonshine(nn.Module):
    def __init__(self):
        super().__init__()
        self.encoder, self.decoder = Encoder(), Decoder()

    def forward(self, sound, tokens):
        return self.decoder(tokens, self.encoder(sound))

    def adapted(self):
        """The linears that an adapter changes, by name."""
        return {name: part for name, part in self.named_modules() if isinstance(part, Linear)
                and (name.startswith("encoder.") or "encoder_attn" in name)}

    def adapt(self):
        """Adds an adapter that changes nothing yet; only it can be trained."""
        for weight in self.parameters():
            weight.requires_grad_(False)
        for name, part in self.adapted().items():
            part.adapt(RANK_ENCODER if name.startswith("encoder.") else RANK_DECODER)
        return self

    def take(self, adapter):
        """Takes an adapter's numbers, by name."""
        for name, part in self.adapted().items():
            for side in "AB":
                value = torch.as_tensor(np.asarray(adapter[f"{name}.{side}"], np.float32))
                setattr(part, side, nn.Parameter(value.to(part.weight.device),
                                                 requires_grad=part.A is not None))
        return self

    def merge(self):
        """Puts the adapter into the weights."""
        for part in self.adapted().values():
            if part.A is not None:
                with torch.no_grad():
                    part.weight.copy_(rounded(part.weight + SCALE * (part.B @ part.A)))
                part.A = part.B = None
        return self


def load(base):
    """The model from the folder of ONNX files or from what `model.py` made of it."""
    path = pathlib.Path(base)
    found = read_onnx(path) if path.is_dir() else dict(np.load(path))
    state = {}
    for name, value in found.items():
        name, _, kind = name.partition(":")
        if kind == "whole":
            state[name] = torch.tensor(value.astype(np.float32) * found[f"{name}:scale"])
        elif not kind:
            state[name] = torch.tensor(value)
    model = Moonshine()
    model.load_state_dict(state)
    return model


class Spelling:
    """Text into the recogniser's tokens, as src/speech/tokens.rs does it."""

    def __init__(self, path):
        data, at, self.pieces = pathlib.Path(path).read_bytes(), 0, []
        while at < len(data):
            size, at = data[at], at + 1
            if size >= 128:
                size, at = data[at] * 128 + size - 128, at + 1
            self.pieces.append(data[at:at + size])
            at += size
        self.numbers = {}
        for number, piece in enumerate(self.pieces):
            if number > 258:  # 3 to 258 are raw bytes
                self.numbers.setdefault(piece.decode("utf8", "replace"), number)
        self.known = {}

    def word(self, word):
        pieces = ["\u2581", *word]
        while True:
            pairs = [(self.numbers[a + b], at, a + b)
                     for at, (a, b) in enumerate(zip(pieces, pieces[1:])) if a + b in self.numbers]
            if not pairs:
                return [self.numbers.get(piece) for piece in pieces]
            _, at, joined = min(pairs)
            pieces[at:at + 2] = [joined]

    def spell(self, text):
        """Its tokens without begin and end; None when a letter is not known."""
        spelled = []
        for word in text.split(" "):
            if word not in self.known:
                self.known[word] = self.word(word)
            spelled += self.known[word]
        return None if None in spelled else spelled

    def text(self, tokens):
        joined = b"".join(self.pieces[token] for token in tokens if token > 2)
        return joined.decode("utf8", "replace").replace("\u2581", " ").strip()


def write_adapter(path, adapter, facts):
    from safetensors.numpy import save_file
    facts = {"format": "low-rank delta", "update": "W(out,in) += scale * B @ A",
             "scale": str(SCALE), "base": "Moonshine tiny English, weights of packaging/models",
             "rank_encoder": str(RANK_ENCODER), "rank_cross_attention": str(RANK_DECODER), **facts}
    save_file({name: np.ascontiguousarray(value, np.float16)
               for name, value in sorted(adapter.items())}, str(path),
              {name: value if isinstance(value, str) else json.dumps(value)
               for name, value in facts.items()})


def read_adapter(path):
    from safetensors.numpy import load_file
    return load_file(str(path))


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    np.savez_compressed(sys.argv[2], **read_onnx(sys.argv[1]))
