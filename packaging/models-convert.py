"""Rewrites one ONNX Runtime model file as plain ONNX that any runtime reads.

usage: models-convert.py IN.ort OUT.onnx [--part first|step] [--adapter FILE.safetensors]

ONNX Runtime saves its own fused operators ("com.microsoft"). Each is replaced
by the standard operators it stands for. An operator this script does not know stops it: a model that is
silently wrong would be worse than none.

The decoder is two graphs in one, chosen by a flag at each step. "first" takes the
one for the first token, "step" the one that goes on from what was kept: alone,
its weights can be laid out for speed once, when it is loaded.

An adapter holds low-rank changes of weights, `W(out, in) += scale * B @ A`, named by
the place of the weight in the network. They are added before the weights are
stored as bytes again: the adapted model has the same graph, size and speed.
"""

import argparse
import sys

import numpy as np
import onnx
import onnxruntime
from onnx import TensorProto, helper, numpy_helper


def to_onnx(source, target):
    """Has ONNX Runtime itself write the graph it loads."""
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    options.optimized_model_filepath = target
    options.add_session_config_entry("session.save_model_format", "ONNX")
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    onnxruntime.InferenceSession(source, options, providers=["CPUExecutionProvider"])


class Rewriter:
    """Replaces fused operators in a graph and in the graphs inside it."""

    def __init__(self):
        self.constants = {}
        self.count = 0
        self.nodes = []

    def constant(self, value):
        name = f"chalk_constant_{value!r}"
        self.constants[name] = np.array(value, np.float32)
        return name

    def add(self, operator, inputs, output=None, **attributes):
        """Adds a standard operator; gives the name of what it makes."""
        if output is None:
            self.count += 1
            output = f"chalk_{self.count}"
        while inputs and not inputs[-1]:
            inputs = inputs[:-1]
        self.nodes.append(helper.make_node(operator, inputs, [output], **attributes))
        return output

    def graph(self, graph):
        old, outer = list(graph.node), self.nodes
        self.nodes = []
        for node in old:
            for attribute in node.attribute:
                if attribute.HasField("g"):
                    self.graph(attribute.g)
            if node.domain == "com.microsoft":
                self.fused(node)
            else:
                self.nodes.append(node)
        del graph.node[:]
        graph.node.extend(self.nodes)
        self.nodes = outer

    def fused(self, node):
        rewrite = getattr(self, f"rewrite_{node.op_type}", None)
        if rewrite is None:
            sys.exit(f"no plain form is known for the operator {node.op_type}")
        attributes = {a.name: helper.get_attribute_value(a) for a in node.attribute}
        rewrite(list(node.input) + [""] * 8, list(node.output), attributes)

    def scaled_integer_product(self, product, scale_a, scale_b, bias, output):
        real = self.add("Cast", [product], to=TensorProto.FLOAT)
        scale = self.add("Mul", [scale_a, scale_b])
        if bias:
            self.add("Add", [self.add("Mul", [real, scale]), bias], output)
        else:
            self.add("Mul", [real, scale], output)

    def rewrite_DynamicQuantizeMatMul(self, given, made, _):
        a, b, b_scale, b_zero, bias = given[:5]
        self.count += 1
        parts = [f"chalk_{self.count}_{p}" for p in ("quantised", "scale", "zero")]
        self.nodes.append(helper.make_node("DynamicQuantizeLinear", [a], parts))
        product = self.add("MatMulInteger", [parts[0], b, parts[2], b_zero])
        self.scaled_integer_product(product, parts[1], b_scale, bias, made[0])

    def rewrite_MatMulIntegerToFloat(self, given, made, _):
        a, b, a_scale, b_scale, a_zero, b_zero, bias = given[:7]
        product = self.add("MatMulInteger", [a, b, a_zero, b_zero])
        self.scaled_integer_product(product, a_scale, b_scale, bias, made[0])

    def rewrite_Gelu(self, given, made, _):
        x = given[0]
        erf = self.add("Erf", [self.add("Div", [x, self.constant(2.0**0.5)])])
        weighted = self.add("Mul", [x, self.add("Add", [erf, self.constant(1.0)])])
        self.add("Mul", [weighted, self.constant(0.5)], made[0])

    def rewrite_QuickGelu(self, given, made, attributes):
        alpha = self.constant(attributes.get("alpha", 1.702))
        gate = self.add("Sigmoid", [self.add("Mul", [given[0], alpha])])
        self.add("Mul", [given[0], gate], made[0])

    def rewrite_FusedMatMul(self, given, made, attributes):
        sides = []
        for side, flag in zip(given[:2], ("transA", "transB")):
            flip = attributes.get(flag, 0)
            sides.append(self.add("Transpose", [side], perm=[0, 1, 3, 2]) if flip else side)
        product = self.add("MatMul", sides)
        self.add("Mul", [product, self.constant(attributes.get("alpha", 1.0))], made[0])

    def rewrite_FusedConv(self, given, made, attributes):
        activation = attributes.pop("activation").decode()
        if attributes.pop("activation_params", None):
            sys.exit(f"no plain form is known for a convolution with a tuned {activation}")
        self.add(activation, [self.add("Conv", given[:3], **attributes)], made[0])

    def rewrite_SkipLayerNormalization(self, given, made, attributes):
        x, skip, gamma, beta, bias = given[:5]
        total = self.add("Add", [x, skip])
        if bias:
            total = self.add("Add", [total, bias])
        epsilon = attributes.get("epsilon", 1e-5)
        self.add("LayerNormalization", [total, gamma, beta], made[0], axis=-1, epsilon=epsilon)
        if len(made) > 3 and made[3]:
            self.add("Identity", [total], made[3])


def take_branch(model, name):
    """Makes one branch of the graph's only choice the whole graph."""
    graph = model.graph
    (choice,) = [node for node in graph.node if node.op_type == "If"]
    (branch,) = [a.g for a in choice.attribute if a.name == name]
    made = [output.name for output in branch.output]
    if made != list(choice.output):
        sys.exit(f"the outputs of {name} are not those of the whole")
    nodes = [node for node in graph.node if node.op_type != "If"] + list(branch.node)
    weights = list(graph.initializer) + list(branch.initializer)
    # A step does not compute the sound's keys again: those outputs are empty.
    maker = {output: node for node in nodes for output in node.output}
    needed, asked = set(), [output for output in made if output in maker]
    while asked:
        value = asked.pop()
        if value in needed:
            continue
        needed.add(value)
        if value in maker:
            asked.extend(maker[value].input)
    keep = [node for node in nodes if needed & set(node.output)]
    inputs = [value for value in graph.input if value.name in needed]
    outputs = [value for value in graph.output if value.name in needed]
    initializers = [weight for weight in weights if weight.name in needed]
    for field, values in (("node", keep), ("input", inputs), ("output", outputs),
                          ("initializer", initializers)):
        del getattr(graph, field)[:]
        getattr(graph, field).extend(values)
    del graph.value_info[:]


def signed_weights(graph):
    """Stores the weights of products as signed bytes around a zero of 0.

    A runtime can lay out such weights once, when it loads them; others it
    converts at each step. The few that are out of a signed byte's reach are cut
    to it: about one in 200,000, which `packaging/hearing-table` cannot tell.
    """
    stored = {weight.name: weight for weight in graph.initializer}
    made, cut, count = {}, 0, 0
    for node in graph.node:
        if node.op_type != "MatMulInteger":
            continue
        name, zero = node.input[1], node.input[3]
        if name not in made:
            values = numpy_helper.to_array(stored[name]).astype(np.int32)
            values = values - numpy_helper.to_array(stored[zero]).astype(np.int32)
            signed = np.clip(values, -128, 127)
            cut += int((signed != values).sum())
            count += values.size
            made[name] = numpy_helper.from_array(signed.astype(np.int8), f"{name}_signed")
        del node.input[3]
        node.input[1] = f"{name}_signed"
    if cut > count // 100_000:
        sys.exit(f"{cut} of {count} weights do not fit a signed byte")
    graph.initializer.extend(made.values())
    used = {name for node in graph.node for name in node.input}
    left = [weight for weight in graph.initializer if weight.name in used]
    del graph.initializer[:]
    graph.initializer.extend(left)


def batch_as_rows(graph):
    """Multiplies a whole batch at once where each hypothesis is one row.

    In a step every product is (batch, 1, n) by (n, m), which a runtime may take
    as `batch` products of one row, reading all weights each time. As
    (1, batch, n) it is one product, and the weights are read once.
    """
    nodes = []
    for node in graph.node:
        if node.op_type != "MatMulInteger":
            nodes.append(node)
            continue
        rows, product = f"{node.output[0]}_rows", f"{node.output[0]}_product"
        swap = [1, 0, 2]
        nodes.append(helper.make_node("Transpose", [node.input[0]], [rows], perm=swap))
        nodes.append(helper.make_node(node.op_type, [rows, *node.input[1:]], [product]))
        nodes.append(helper.make_node("Transpose", [product], [node.output[0]], perm=swap))
    del graph.node[:]
    graph.node.extend(nodes)


LAYERS = 6
ENCODER_LAYER = ["self_attn.k_proj", "self_attn.q_proj", "self_attn.v_proj", "self_attn.o_proj",
                 "mlp.fc1", "mlp.fc2"]
DECODER_LAYER = ["self_attn.k_proj", "self_attn.q_proj", "self_attn.v_proj", "self_attn.o_proj",
                 "encoder_attn.q_proj", "encoder_attn.v_proj", "encoder_attn.o_proj",
                 "mlp.fc1", "mlp.fc2"]


def graphs_in(graph):
    """A graph and every graph inside it."""
    yield graph
    for node in graph.node:
        for attribute in node.attribute:
            if attribute.HasField("g"):
                yield from graphs_in(attribute.g)


def weight_names(graph):
    """The stored name of each linear weight, by its place in the network.

    Products come in the order the network was traced in: in the decoder's first
    step the keys of the sound, last layer first, then layer by layer.
    """
    def products(graph):
        return [node.input[1].removesuffix("_quantized") for node in graph.node
                if node.op_type == "MatMulInteger"]

    branches = {a.name: a.g for node in graph.node if node.op_type == "If" for a in node.attribute}
    if not branches:
        found = products(graph)
        places = [f"encoder.layers.{layer}.{name}" for layer in range(LAYERS)
                  for name in ENCODER_LAYER]
    else:
        found = products(branches["else_branch"])
        places = [f"decoder.layers.{layer}.encoder_attn.k_proj"
                  for layer in reversed(range(LAYERS))]
        places += [f"decoder.layers.{layer}.{name}" for layer in range(LAYERS)
                   for name in DECODER_LAYER]
        places.append("proj_out")
    if len(found) != len(places):
        sys.exit(f"{len(found)} linear weights were found where {len(places)} were expected")
    return dict(zip(places, found))


def adapt(graph, path):
    """Adds an adapter's changes to the weights they are for."""
    from safetensors import safe_open

    with safe_open(path, "np") as file:
        scale = float(file.metadata()["scale"])
        changes = {key: file.get_tensor(key).astype(np.float32) for key in file.keys()}
    part = "decoder." if any(node.op_type == "If" for node in graph.node) else "encoder."
    stored = {w.name: w for inner in graphs_in(graph) for w in inner.initializer}
    names = weight_names(graph)
    wanted = sorted({key.rsplit(".", 1)[0] for key in changes if key.startswith(part)})
    for place in wanted:
        name = names[place]
        parts = [f"{name}_{suffix}" for suffix in ("quantized", "zero_point", "scale")]
        values, zero, step = [numpy_helper.to_array(stored[part]) for part in parts]
        weight = (values.astype(np.float32) - zero.astype(np.float32)) * step
        weight = weight + scale * (changes[f"{place}.B"] @ changes[f"{place}.A"]).T
        # Around a zero in the middle, so that all of it fits a signed byte.
        step = np.abs(weight).max() / np.float32(127)
        values = np.clip(np.round(weight / step) + 128, 1, 255)
        for part_name, value in zip(parts, (values, np.array(128), step)):
            old = stored[part_name]
            dtype = numpy_helper.to_array(old).dtype
            value = np.asarray(value).reshape(list(old.dims)).astype(dtype)
            old.CopyFrom(numpy_helper.from_array(value, part_name))
    if not wanted:
        sys.exit(f"{path} has nothing for this part of the network")


def name_graphs(graph, name):
    """Gives every inner graph a name, which the standard asks for."""
    graph.name = graph.name or name
    for number, node in enumerate(graph.node):
        for attribute in node.attribute:
            if attribute.HasField("g"):
                name_graphs(attribute.g, f"{name}_{number}_{attribute.name}")


def main(source, target, part=None, adapter=None):
    to_onnx(source, target)
    model = onnx.load(target)
    name_graphs(model.graph, "main")
    rewriter = Rewriter()
    rewriter.graph(model.graph)
    for name, value in rewriter.constants.items():
        model.graph.initializer.append(numpy_helper.from_array(value, name))
    if adapter is not None:
        adapt(model.graph, adapter)
    if part == "first":
        take_branch(model, "else_branch")
    elif part == "step":
        take_branch(model, "then_branch")
        batch_as_rows(model.graph)
    signed_weights(model.graph)
    standard = [o for o in model.opset_import if o.domain == ""]
    del model.opset_import[:]
    model.opset_import.extend(standard)
    model.ir_version = min(model.ir_version, 9)
    onnx.checker.check_model(model)
    onnx.save(model, target)


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(usage=__doc__.partition("usage: ")[2].partition("\n")[0])
    arguments.add_argument("source")
    arguments.add_argument("target")
    arguments.add_argument("--part", choices=["first", "step"])
    arguments.add_argument("--adapter")
    main(**vars(arguments.parse_args()))
