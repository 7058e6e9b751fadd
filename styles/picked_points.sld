<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>picked_points</Name>
    <UserStyle>
      <Name>picked_points</Name>
      <Title>Ground picked on a photograph</Title>
      <Abstract>Told apart by size as well as by colour.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>ground</Name>
          <Title>Ground that the pixel shows</Title>
          <ogc:Filter>
            <ogc:PropertyIsEqualTo>
              <ogc:PropertyName>state</ogc:PropertyName>
              <ogc:Literal>ground</ogc:Literal>
            </ogc:PropertyIsEqualTo>
          </ogc:Filter>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>cross</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#14121A</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#14121A</CssParameter>
                  <CssParameter name="stroke-width">1.9</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>10.1</Size>
            </Graphic>
          </PointSymbolizer>
        </Rule>
        <Rule>
          <Name>grazing</Name>
          <Title>Grazed ground: a guess</Title>
          <ogc:Filter>
            <ogc:PropertyIsEqualTo>
              <ogc:PropertyName>state</ogc:PropertyName>
              <ogc:Literal>grazing</ogc:Literal>
            </ogc:PropertyIsEqualTo>
          </ogc:Filter>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>cross</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#C2703D</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#C2703D</CssParameter>
                  <CssParameter name="stroke-width">1.6</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>7.6</Size>
            </Graphic>
          </PointSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
